#include "src/cli/sound_source.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

#include "src/audio/recording.hpp"
#include "src/audio/slow.hpp"
#include "src/cli/console.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::cli {
namespace {

Result<std::int64_t> typed_place(const std::string& text, const SoundSource& source) {
  if (source.take) return take::parse_time(text, *source.take);
  const auto seconds = take::parse_seconds(text);
  if (!seconds) return tl::unexpected(seconds.error());
  return std::llround(*seconds * source.rate_hz);
}

}  // namespace

Result<SoundSource> sound_source(const std::filesystem::path& input, bool needs_recording) {
  SoundSource source;
  source.input = input;
  if (input.extension() != ".take") {
    audio::OpenOptions quick;
    quick.with_content_hash = false;
    const auto glance = audio::glance_at_recording(input, quick);
    if (!glance) return tl::unexpected(glance.error());
    source.recording = input;
    source.rate_hz = glance->sample_rate_hz;
    return source;
  }
  auto loaded = take::load_take(input);
  if (!loaded) return tl::unexpected(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  source.rate_hz = static_cast<double>(loaded->take.time_base_hz);
  if (needs_recording && loaded->take.recording) {
    const auto recording = take::find_recording(
        loaded->take, input,
        [](const std::filesystem::path& path) { return audio::content_hash_of(path); });
    if (!recording) return tl::unexpected(recording.error());
    source.recording = *recording;
    if (const std::string note = take::outside_note(*recording, input); !note.empty()) remark(note);
  }
  source.take = std::move(loaded->take);
  return source;
}

Result<TypedStretch> typed_stretch(const StretchOptionTexts& texts, const SoundSource& source) {
  TypedStretch stretch;
  if (texts.passage) {
    if (!source.take) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("--passage needs a take, and '{}' is none; lift it first, or give "
                              "--from and --to.",
                              source.input.string()));
    }
    for (const take::Passage& passage : source.take->passages) {
      if (passage.name != *texts.passage) continue;
      stretch = {passage.begin_samples, passage.end_samples, passage.name};
    }
    if (!stretch.begin_sample) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              source.input.string(), *texts.passage));
    }
  }
  for (const auto& [text, target] :
       {std::pair{&texts.from, &stretch.begin_sample}, std::pair{&texts.to, &stretch.end_sample}}) {
    if (!*text) continue;
    const auto sample = typed_place(**text, source);
    if (!sample) return tl::unexpected(sample.error());
    *target = *sample;
  }
  return stretch;
}

Result<double> typed_speed(std::string text, std::string_view flag) {
  const std::string typed = text;
  const bool is_percent = text.ends_with('%');
  if (is_percent) text.pop_back();
  double value = 0.0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  const bool is_number = !text.empty() && error == std::errc() && stop == text.data() + text.size();
  if (is_percent || value > 2.0) value /= 100.0;
  if (!is_number || !std::isfinite(value) || value < audio::lowest_speed_ratio ||
      value > audio::highest_speed_ratio) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("{} '{}': say a speed from 20% to 150%, as 50%.", flag, typed));
  }
  return value;
}

Result<double> speed_for_tempo(double tempo_bpm, const SoundSource& source,
                               const TypedStretch& stretch) {
  std::vector<std::int64_t> times;
  if (source.take) {
    const std::int64_t begin = stretch.begin_sample.value_or(0);
    const std::int64_t end = stretch.end_sample.value_or(source.take->length_samples);
    for (const take::Beat& beat : source.take->beats) {
      if (beat.time_samples >= begin && beat.time_samples <= end) {
        times.push_back(beat.time_samples);
      }
    }
  }
  if (times.size() < 2) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--tempo needs beats, and '{}' has none there; lift it first, or give "
                            "--speed.",
                            source.input.string()));
  }
  const double own_bpm = 60.0 * source.rate_hz * static_cast<double>(times.size() - 1) /
                         static_cast<double>(times.back() - times.front());
  const double speed = tempo_bpm / own_bpm;
  if (!(speed >= audio::lowest_speed_ratio && speed <= audio::highest_speed_ratio)) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format(
            "--tempo {:g}: it was played at {:.0f}, and can be heard from {:.0f} to {:.0f}.",
            tempo_bpm, own_bpm, std::ceil(audio::lowest_speed_ratio * own_bpm),
            std::floor(audio::highest_speed_ratio * own_bpm)));
  }
  return speed;
}

Result<double> typed_shift(double semitones, double cents) {
  const double shift = semitones + cents / 100.0;
  if (std::abs(shift) > audio::largest_shift_semitones) {
    return fail(ErrorCode::invalid_argument,
                "--semitones and --cents together may move the pitch by 12 semitones at most.");
  }
  return shift;
}

audio::ClickPattern click_pattern(const std::optional<std::string>& word) {
  if (word == "all") return audio::ClickPattern::all;
  if (word == "2and4") return audio::ClickPattern::two_and_four;
  if (word == "1") return audio::ClickPattern::one;
  return audio::ClickPattern::none;
}

audio::LowVoiceSettings low_voice_settings(const std::optional<std::string>& word, bool octave_up) {
  audio::LowVoiceSettings settings{.octave_up = octave_up};
  if (word == "up") settings.use = audio::LowVoiceUse::up;
  if (word == "only") settings.use = audio::LowVoiceUse::only;
  if (word == "minus") settings.use = audio::LowVoiceUse::minus;
  return settings;
}

bool has_word(const std::vector<std::string>& words, std::string_view word) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

}  // namespace lowstride::cli
