#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "src/audio/low_voice_reader.hpp"
#include "src/audio/practice.hpp"
#include "src/base/result.hpp"
#include "src/cli/options.hpp"
#include "src/take/take.hpp"

namespace lowstride::cli {

/// What is to be heard: a recording, a take with its recording, or a take alone.
struct SoundSource {
  std::filesystem::path input;  // as typed, for messages
  std::optional<std::filesystem::path> recording;
  std::optional<take::Take> take;
  double rate_hz = 0.0;  // of times in samples
};

/// Opens what was typed; remarks what the take's loader says. `needs_recording` false: that of the
/// take is not looked for. Errors: those of load_take, find_recording and glance_at_recording.
[[nodiscard]] Result<SoundSource> sound_source(const std::filesystem::path& input,
                                               bool needs_recording);

/// The stretch of `--from`, `--to` and `--passage`; what was left out is absent.
struct TypedStretch {
  std::optional<std::int64_t> begin_sample;
  std::optional<std::int64_t> end_sample;
  std::string passage_name;
};
[[nodiscard]] Result<TypedStretch> typed_stretch(const StretchOptionTexts& texts,
                                                 const SoundSource& source);

/// "50%", "50" and "0.5" are half speed. `flag` is named in the error. 20 % to 150 %.
[[nodiscard]] Result<double> typed_speed(std::string text, std::string_view flag);

/// The speed at which the beats of [begin, end) come at `tempo_bpm`. Errors: invalid_argument (no
/// grid; a speed out of range, with the tempos that are possible).
[[nodiscard]] Result<double> speed_for_tempo(double tempo_bpm, const SoundSource& source,
                                             const TypedStretch& stretch);

/// `--semitones` and `--cents` together.
[[nodiscard]] Result<double> typed_shift(double semitones, double cents);

/// "all", "2and4", "1"; `none` when left out. The words are checked where they are typed.
[[nodiscard]] audio::ClickPattern click_pattern(const std::optional<std::string>& word);
/// "up", "only", "minus", with `--octave-up`.
[[nodiscard]] audio::LowVoiceSettings low_voice_settings(const std::optional<std::string>& word,
                                                         bool octave_up);
[[nodiscard]] bool has_word(const std::vector<std::string>& words, std::string_view word);

}  // namespace lowstride::cli
