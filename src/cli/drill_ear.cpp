#include "src/cli/drill_ear.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <system_error>
#include <thread>

#include <fmt/format.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/loopback.hpp"
#include "src/audio/pitch_listener.hpp"
#include "src/base/atomic_file.hpp"
#include "src/neck/named_necks.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::cli {
namespace {

constexpr double longest_note_seconds = 3.0;
constexpr double tail_seconds = 0.4;  // listened on after a line, for a last note that is late
constexpr std::size_t block_samples = 1024;

bool has_typed_line() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  return ::isatty(STDIN_FILENO) == 1 && ::poll(&input, 1, 0) > 0;
}

audio::PitchListenerOptions listening(double rate_hz, const drill::Item& item) {
  audio::PitchListenerOptions options;
  options.sample_rate_hz = rate_hz;
  options.a4_hz = item.a4_hz;
  // A player may be an octave off and must be heard so.
  options.lowest_midi = std::max(21, neck::lowest_midi(item.neck) - 12 * item.octave_shift - 5);
  options.highest_midi = std::min(96, neck::highest_midi(item.neck) - 12 * item.octave_shift + 12);
  return options;
}

std::filesystem::path latency_path() {
  if (const char* config = std::getenv("XDG_CONFIG_HOME"); config != nullptr && config[0] == '/') {
    return std::filesystem::path(config) / "lowstride" / "latency";
  }
  const char* home = std::getenv("HOME");
  return std::filesystem::path(home == nullptr ? "/" : home) / ".config/lowstride/latency";
}

}  // namespace

DrillEar::DrillEar(std::unique_ptr<audio::LiveInput> input, double latency_seconds, bool is_device)
    : input_(std::move(input)), latency_seconds_(latency_seconds), is_device_(is_device) {}

void DrillEar::begin() {
  heard_.clear();
  sound_begin_seconds_ = 0.0;
  input_->flush();
}

Result<bool> DrillEar::take_in(std::size_t most_samples) {
  std::array<float, block_samples> block{};
  const auto count = input_->read(std::span(block).first(std::min(block_samples, most_samples)));
  if (!count) return tl::unexpected(count.error());
  heard_.insert(heard_.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(*count));
  return *count > 0 || !input_->is_ended();
}

void DrillEar::tick(double sound_seconds) {
  if (!is_device_ || error_) return;
  if (const auto taken = take_in(block_samples); !taken) error_ = taken.error();
  sound_begin_seconds_ =
      static_cast<double>(heard_.size()) / input_->sample_rate_hz() - sound_seconds;
}

std::optional<Result<drill::Answer>> DrillEar::answer(const drill::Session& session) {
  if (error_) {
    const Error error = *error_;
    error_.reset();
    return tl::unexpected(error);
  }
  if (input_->is_ended()) return std::nullopt;
  switch (session.item().kind) {
    case drill::Kind::find_the_note:
      return one_note(session.item());
    case drill::Kind::play_it_back:
      return line(session);
    default:
      return std::nullopt;
  }
}

std::optional<Result<drill::Answer>> DrillEar::one_note(const drill::Item& item) {
  begin();
  if (is_device_) fmt::print("Play it, or type it and press Enter.\n");
  std::fflush(stdout);
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
      fmt::print("Heard {}, {:+.0f} cents.\n", theory::pitch_text(note->midi, item.tune_key),
                 note->cents);
      return drill::NoteAnswer{{0.0, note->midi, true, false}};
    }
    if (!*taken || has_typed_line() || interrupt_flag().load()) return std::nullopt;
  }
}

std::optional<Result<drill::Answer>> DrillEar::line(const drill::Session& session) {
  const drill::Item& item = session.item();
  const double speed = session.speed_ratio();
  const double lead = drill::count_in_seconds(item, speed);
  const double rate = input_->sample_rate_hz();
  const double length =
      lead + static_cast<double>(item.stretch.end_samples - item.stretch.begin_samples) /
                 static_cast<double>(item.time_base_hz) / speed;
  const auto wanted = static_cast<std::size_t>(
      (length + (is_device_ ? sound_begin_seconds_ + latency_seconds_ + tail_seconds : 0.0)) *
      rate);
  if (!is_device_) heard_.clear();
  while (heard_.size() < wanted && !interrupt_flag().load()) {
    const auto taken = take_in(wanted - heard_.size());
    if (!taken) return tl::unexpected(taken.error());
    if (!*taken) break;
  }
  drill::LineAnswer answer;
  answer.is_played = true;
  for (const audio::HeardNote& note : audio::hear_notes(heard_, listening(rate, item))) {
    const double at = note.onset_seconds - sound_begin_seconds_ - latency_seconds_ - lead;
    // What was tried out during the count-in is no answer.
    if (at < -0.25) continue;
    answer.notes.push_back({drill::beat_heard_at(item, speed, at), note.midi, true, false});
  }
  heard_.clear();
  return answer;
}

double kept_latency_seconds() {
  const auto text = read_small_file(latency_path(), 100);
  if (!text) return 0.0;
  double seconds = 0.0;
  const auto parsed = std::from_chars(text->data(), text->data() + text->size(), seconds);
  return parsed.ec == std::errc() && seconds >= 0.0 && seconds <= 1.0 ? seconds : 0.0;
}

ExitCode run_tuner(audio::LiveInput& input, const neck::Neck& neck) {
  audio::PitchListenerOptions options;
  options.sample_rate_hz = input.sample_rate_hz();
  audio::PitchListener listener(options);
  std::array<float, block_samples> block{};
  const bool is_terminal = ::isatty(STDOUT_FILENO) == 1;
  double shown_seconds = 0.0;
  while (!interrupt_flag().load()) {
    const auto count = input.read(block);
    if (!count) return tell(count.error());
    if (*count == 0 && input.is_ended()) break;
    listener.push(std::span(block).first(*count));
    if (listener.heard_seconds() - shown_seconds < 0.1) continue;
    shown_seconds = listener.heard_seconds();
    const audio::InputReading reading = listener.reading();
    const int bars = std::clamp(static_cast<int>((reading.level_db + 60.0) / 3.0), 0, 20);
    std::string line = fmt::format("[{}{}]{}", std::string(static_cast<std::size_t>(bars), '='),
                                   std::string(static_cast<std::size_t>(20 - bars), ' '),
                                   reading.peak >= 1.0 ? " too loud" : "");
    if (reading.pitch_midi) {
      const auto tuned = audio::tune(neck.open_midi, *reading.pitch_midi);
      line += tuned ? fmt::format(" string {} ({}) {:+.0f} cents", tuned->string_number,
                                  theory::pitch_text(tuned->string_midi), tuned->cents)
                    : fmt::format(" {}", theory::pitch_text(
                                             static_cast<int>(std::lround(*reading.pitch_midi))));
    }
    fmt::print("{}{}{}", is_terminal ? "\r\x1b[K" : "", line, is_terminal ? "" : "\n");
    std::fflush(stdout);
  }
  if (is_terminal) fmt::print("\n");
  return ExitCode::done;
}

namespace {

/// Plays a signal once.
class Once final : public audio::AudioSource {
 public:
  explicit Once(double rate_hz) : rate_hz_(rate_hz), signal_(audio::loopback_signal(rate_hz)) {}
  [[nodiscard]] double sample_rate_hz() const noexcept override { return rate_hz_; }
  void render(dsp::MutableAudioView out) noexcept override {
    has_begun_.store(true, std::memory_order_relaxed);
    for (std::size_t i = 0; i < out.sample_count; ++i, ++place_) {
      const float value = place_ < signal_.size() ? signal_[place_] : 0.0F;
      for (std::size_t c = 0; c < out.channel_count(); ++c) out.channel(c)[i] = value;
    }
  }
  void prepare(std::size_t /*sample_count*/) override {}
  void set_output_latency(double seconds) noexcept override { output_seconds_ = seconds; }

  [[nodiscard]] bool has_begun() const noexcept {
    return has_begun_.load(std::memory_order_relaxed);
  }
  /// The part of the way that the output itself tells of; players take it into account already.
  [[nodiscard]] double output_seconds() const noexcept { return output_seconds_.load(); }

 private:
  double rate_hz_;
  std::vector<float> signal_;
  std::size_t place_ = 0;
  std::atomic<bool> has_begun_{false};
  std::atomic<double> output_seconds_{0.0};
};

}  // namespace

ExitCode run_latency(const std::string& device) {
  auto input = audio::open_input_device(device);
  if (!input) return tell(input.error());
  fmt::print(
      "Hold the microphone to the loudspeaker, or join line out and line in. Six short sweeps …\n");
  std::fflush(stdout);
  const double rate = (*input)->sample_rate_hz();
  Once source(rate);
  std::vector<float> received;
  std::array<float, block_samples> block{};
  const auto out = audio::open_device(source);
  if (!out) return tell(out.error());
  const auto wanted = static_cast<std::size_t>(3.6 * rate);
  const auto begun = std::chrono::steady_clock::now();
  while (!source.has_begun() &&
         std::chrono::steady_clock::now() - begun < std::chrono::seconds(3)) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  (*input)->flush();
  while (received.size() < wanted && !interrupt_flag().load() &&
         std::chrono::steady_clock::now() - begun < std::chrono::seconds(8)) {
    const auto count = (*input)->read(block);
    if (!count) return tell(count.error());
    received.insert(received.end(), block.begin(),
                    block.begin() + static_cast<std::ptrdiff_t>(*count));
  }
  const auto latency = audio::loopback_latency_seconds(received, rate);
  if (!latency) {
    return tell({ErrorCode::no_device,
                 "The sweeps did not come back; bring input and output together, turn both up, and "
                 "measure again."});
  }
  const double kept_seconds = std::max(0.0, *latency - source.output_seconds());
  std::error_code error;
  std::filesystem::create_directories(latency_path().parent_path(), error);
  if (const auto kept =
          write_file_atomically(latency_path(), fmt::format("{:.4f}\n", kept_seconds));
      !kept) {
    return tell(kept.error());
  }
  fmt::print("{:.0f} ms; kept, and taken off the times of what you play.\n", 1000.0 * kept_seconds);
  return ExitCode::done;
}

}  // namespace lowstride::cli
