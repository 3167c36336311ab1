#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "dsp/base/audio_view.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/score.hpp"

namespace lowstride::audio {

/// What is done with the low voice: left alone, brought forward by 9 dB, heard alone, taken out.
enum class LowVoiceUse : std::uint8_t { as_is, up, only, minus };

struct LowVoiceSettings {
  LowVoiceUse use = LowVoiceUse::as_is;
  /// Moves the low voice up an octave, for small speakers; the rest stays. Without meaning for
  /// `minus`.
  bool octave_up = false;

  bool operator==(const LowVoiceSettings&) const = default;
};

/// A recording with its low voice brought forward, alone, out, or an octave up: a reader round
/// another. Nothing is lost or delayed: sample for sample the other's places; with nothing to do it
/// passes the other's samples on as they are. The voice is found by the notes where there are some,
/// else by the low band (dsp/voices/low_voice.hpp).
class LowVoiceReader final : public SampleReader {
 public:
  /// `reader` must not be null. `notes` in samples of the recording.
  LowVoiceReader(std::unique_ptr<SampleReader> reader, const std::vector<ScoreNote>& notes,
                 double a4_hz);
  ~LowVoiceReader() override;

  /// Another use from `position()` on. Errors: unreadable.
  [[nodiscard]] Result<void> set(const LowVoiceSettings& settings);
  /// Other notes from the next `seek` on.
  void set_notes(const std::vector<ScoreNote>& notes, double a4_hz);
  /// Whether the voice is known by notes; else it is the low band.
  [[nodiscard]] bool is_from_notes() const noexcept;

  [[nodiscard]] const RecordingInfo& info() const noexcept override;
  [[nodiscard]] std::int64_t position() const noexcept override;
  [[nodiscard]] Result<std::size_t> read(dsp::MutableAudioView out) override;
  [[nodiscard]] Result<void> seek(std::int64_t sample) override;

 private:
  class Inside;
  std::unique_ptr<Inside> inside_;
};

/// For people: where the low voice comes from.
[[nodiscard]] const char* low_voice_source(bool is_from_notes) noexcept;

}  // namespace lowstride::audio
