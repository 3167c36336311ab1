#include "src/drill/ear.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <span>
#include <system_error>

#include <fmt/format.h>

#include "src/audio/pitch_listener.hpp"
#include "src/base/atomic_file.hpp"
#include "src/drill/sound.hpp"
#include "src/neck/named_necks.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::drill {
namespace {

constexpr double longest_note_seconds = 3.0;
constexpr double tail_seconds = 0.4;  // listened on after a line, for a last note that is late
constexpr double settled_seconds = 0.05;
constexpr std::size_t block_samples = 1024;
constexpr double least_level_db = -120.0;

audio::PitchListenerOptions listening(double rate_hz, const Item& item) {
  audio::PitchListenerOptions options;
  options.sample_rate_hz = rate_hz;
  options.a4_hz = item.a4_hz;
  // A player may be an octave off and must be heard so.
  options.lowest_midi = std::max(21, neck::lowest_midi(item.neck) - 12 * item.octave_shift - 5);
  options.highest_midi = std::min(96, neck::highest_midi(item.neck) - 12 * item.octave_shift + 12);
  return options;
}

double level_of(std::span<const float> samples) {
  double sum = 0.0;
  for (const float value : samples) sum += static_cast<double>(value) * value;
  if (sum <= 0.0) return least_level_db;
  return std::max(least_level_db, 10.0 * std::log10(sum / static_cast<double>(samples.size())));
}

std::filesystem::path latency_path() {
  if (const char* config = std::getenv("XDG_CONFIG_HOME"); config != nullptr && config[0] == '/') {
    return std::filesystem::path(config) / "lowstride" / "latency";
  }
  const char* home = std::getenv("HOME");
  return std::filesystem::path(home == nullptr ? "/" : home) / ".config/lowstride/latency";
}

}  // namespace

Ear::Ear(std::unique_ptr<audio::LiveInput> input, double latency_seconds, bool is_device)
    : input_(std::move(input)), latency_seconds_(latency_seconds), is_device_(is_device) {}

void Ear::begin() {
  heard_.clear();
  begins_seconds_.clear();
  input_->flush();
}

Result<bool> Ear::take_in(std::size_t most_samples) {
  std::array<float, block_samples> block{};
  const auto count = input_->read(std::span(block).first(std::min(block_samples, most_samples)));
  if (!count) return tl::unexpected(count.error());
  heard_.insert(heard_.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(*count));
  if (*count > 0) level_db_.store(level_of(std::span(block).first(*count)));
  return *count > 0 || !input_->is_ended();
}

void Ear::tick(double sound_seconds) {
  if (!is_device_ || error_) return;
  if (const auto taken = take_in(block_samples); !taken) error_ = taken.error();
  // What was said before it sounded tells nothing.
  if (sound_seconds < settled_seconds) begins_seconds_.clear();
  begins_seconds_.push_back(static_cast<double>(heard_.size()) / input_->sample_rate_hz() -
                            sound_seconds);
}

/// The median of the ticks: one that came late, since the machine was busy, moves nothing.
double Ear::sound_begin_seconds() const {
  if (begins_seconds_.empty()) return 0.0;
  std::vector<double> begins = begins_seconds_;
  const auto middle = begins.begin() + static_cast<std::ptrdiff_t>(begins.size() / 2);
  std::nth_element(begins.begin(), middle, begins.end());
  return *middle;
}

std::optional<Result<PlayedAnswer>> Ear::answer(const Item& item, double speed_ratio,
                                                const std::function<bool()>& goes_on) {
  if (error_) {
    const Error error = *error_;
    error_.reset();
    return tl::unexpected(error);
  }
  if (input_->is_ended()) return std::nullopt;
  if (item.kind == Kind::find_the_note) return one_note(item, goes_on);
  if (item.kind == Kind::play_it_back) return line(item, speed_ratio, goes_on);
  return std::nullopt;
}

std::optional<Result<PlayedAnswer>> Ear::one_note(const Item& item,
                                                  const std::function<bool()>& goes_on) {
  begin();
  audio::PitchListener listener(listening(input_->sample_rate_hz(), item));
  for (;;) {
    heard_.clear();
    const auto taken = take_in(block_samples);
    if (!taken) return tl::unexpected(taken.error());
    listener.push(heard_);
    if (!*taken) listener.finish();
    std::optional<audio::HeardNote> note;
    if (!listener.notes().empty() && (is_device_ || listener.is_silent())) {
      note = listener.notes().front();
    }
    const auto sounding = listener.sounding();
    // In a file the note is heard to its end, so that it is not taken for the next answer as well.
    const bool is_long =
        sounding && sounding->offset_seconds - sounding->onset_seconds > longest_note_seconds;
    if (!note && sounding && (is_device_ || is_long)) note = sounding;
    if (note) {
      return PlayedAnswer{NoteAnswer{{0.0, note->midi, true, false}},
                          fmt::format("Heard {}, {:+.0f} cents.",
                                      theory::pitch_text(note->midi, item.tune_key), note->cents)};
    }
    if (!*taken || !goes_on()) return std::nullopt;
  }
}

std::optional<Result<PlayedAnswer>> Ear::line(const Item& item, double speed_ratio,
                                              const std::function<bool()>& goes_on) {
  const double lead = count_in_seconds(item, speed_ratio);
  const double rate = input_->sample_rate_hz();
  const double length =
      lead + static_cast<double>(item.stretch.end_samples - item.stretch.begin_samples) /
                 static_cast<double>(item.time_base_hz) / speed_ratio;
  const double begin = sound_begin_seconds();
  const double wanted_seconds =
      length + (is_device_ ? begin + latency_seconds_ + tail_seconds : 0.0);
  const auto wanted = static_cast<std::size_t>(std::max(0.0, wanted_seconds) * rate);
  if (!is_device_) heard_.clear();
  while (heard_.size() < wanted) {
    if (!goes_on()) return std::nullopt;
    const auto taken = take_in(wanted - heard_.size());
    if (!taken) return tl::unexpected(taken.error());
    if (!*taken) break;
  }
  LineAnswer answer;
  answer.is_played = true;
  for (const audio::HeardNote& note : audio::hear_notes(heard_, listening(rate, item))) {
    const double at = note.onset_seconds - begin - latency_seconds_ - lead;
    // What was tried out during the count-in is no answer.
    if (at < -0.25) continue;
    answer.notes.push_back({beat_heard_at(item, speed_ratio, at), note.midi, true, false});
  }
  heard_.clear();
  return PlayedAnswer{std::move(answer), {}};
}

double kept_latency_seconds() {
  const auto text = read_small_file(latency_path(), 100);
  if (!text) return 0.0;
  double seconds = 0.0;
  const auto parsed = std::from_chars(text->data(), text->data() + text->size(), seconds);
  return parsed.ec == std::errc() && seconds >= 0.0 && seconds <= 1.0 ? seconds : 0.0;
}

Result<void> keep_latency_seconds(double seconds) {
  std::error_code error;
  std::filesystem::create_directories(latency_path().parent_path(), error);
  return write_file_atomically(latency_path(), fmt::format("{:.4f}\n", seconds));
}

}  // namespace lowstride::drill
