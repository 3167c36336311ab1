#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "src/audio/low_voice_reader.hpp"
#include "src/audio/practice.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

enum class LineHeard : std::uint8_t { off, beside, instead };

/// What a player sets while listening. Values out of range are brought to the nearest end.
struct HearingSettings {
  double speed_ratio = 1.0;
  double shift_semitones = 0.0;
  std::optional<take::Stretch> loop = {};
  int count_in_bars = 0;
  audio::ClickPattern click = audio::ClickPattern::none;
  LineHeard line = LineHeard::off;
  audio::LowVoiceSettings low_voice = {};  // of the recording

  bool operator==(const HearingSettings&) const = default;
};

struct HearingStatus {
  bool is_playing = false;
  double place_samples = 0.0;  // what is heard at this moment
  double peak = 0.0;           // since the last call; 1 is full scale
  std::string trouble = {};    // a sentence, once
};

/// The desk's ears. `Listening` plays; tests have one of their own. All calls return at once.
class Hearing {
 public:
  Hearing() = default;
  Hearing(const Hearing&) = delete;
  Hearing& operator=(const Hearing&) = delete;
  virtual ~Hearing() = default;

  virtual void set(const HearingSettings& settings) = 0;
  /// The line, chords and beats as they are now.
  virtual void set_take(const take::Take& take) = 0;
  virtual void play_from(std::int64_t sample) = 0;
  virtual void stop() = 0;
  virtual void seek(std::int64_t sample) = 0;
  [[nodiscard]] virtual HearingStatus status() = 0;
  /// For people, where nothing can be heard: why, and that the rest works. Else empty.
  [[nodiscard]] virtual std::string notice() const = 0;
};

}  // namespace lowstride::desk
