#include "src/audio/pitch_listener.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <deque>
#include <map>
#include <memory>
#include <numbers>

#include <aubio/aubio.h>
#include <fftw3.h>

#include "dsp/base/contracts.hpp"

namespace lowstride::audio {
namespace {

constexpr double window_seconds = 0.0929;        // 4096 samples at 44,100 Hz: three periods of a B0
constexpr double hop_seconds = 0.0058;           // 256 samples
constexpr double onset_window_seconds = 0.0464;  // two periods of a low E, which must not flutter
constexpr double shortest_gap_seconds = 0.1;     // between onsets: sixteenths at 150 beats a minute
constexpr float onset_threshold = 0.2F;
constexpr float yin_tolerance = 0.15F;  // aperiodicity at which the search stops
constexpr double least_periodicity = 0.6;
constexpr double attack_seconds = 0.015;  // of a note, in which nothing is periodic yet
constexpr double shortest_note_seconds = 0.05;
/// A note begins without a stroke (sung, or hammered on) when another pitch holds for this long.
constexpr double slur_seconds = 0.06;
/// A stroke on the same pitch has to lift the level by this much to be a new note.
constexpr double stroke_db = 3.0;
constexpr std::size_t frames_kept = 512;  // three seconds

// What the partials of each pitch explain of what is new in the spectrum.
constexpr std::size_t spectrum_size = 16384;
constexpr double longest_look_seconds = 0.22;
constexpr double shortest_look_seconds = 0.06;
constexpr double kept_of_before =
    0.7;  // of the spectrum before the stroke, taken off the one after
constexpr int partial_count = 12;
constexpr double highest_partial_hz = 6000.0;
constexpr double stiffness = 5e-5;  // of a wound string: partials lie that much higher
/// Weight of a partial: (f0 + a) / (k f0 + b), constants of Klapuri 2006.
constexpr double salience_a_hz = 27.0;
constexpr double salience_b_hz = 320.0;
/// How much the vote of the difference function counts beside salience, by the rendered lines of
/// the tests: either alone is wrong about octaves three times as often.
constexpr double vote_weight = 0.35;

/// Below every string: a constant offset, and its coming and going as inputs are plugged in, is no
/// sound. A B0 loses 0.4 dB.
constexpr double offset_cutoff_hz = 10.0;

/// Even, since aubio takes only such.
unsigned even_samples(double seconds, double rate_hz) {
  return 2U * static_cast<unsigned>(std::lround(seconds * rate_hz / 2.0));
}

double to_db(double value) { return 20.0 * std::log10(std::max(value, 1e-6)); }

double midi_of(double hz, double a4_hz) { return 69.0 + 12.0 * std::log2(hz / a4_hz); }

struct VectorGuard {
  void operator()(fvec_t* vector) const noexcept { del_fvec(vector); }
};
struct PitchGuard {
  void operator()(aubio_pitch_t* pitch) const noexcept { del_aubio_pitch(pitch); }
};
struct FftGuard {
  void operator()(fftwf_plan_s* plan) const noexcept { fftwf_destroy_plan(plan); }
};
struct OnsetGuard {
  void operator()(aubio_onset_t* onset) const noexcept { del_aubio_onset(onset); }
};

/// What one hop showed. The pitch stands for the window that ends with the hop.
struct Frame {
  double end_seconds = 0.0;
  double level_db = -120.0;   // of the hop
  double smooth_db = -120.0;  // of the latest hops, longer than a period of the lowest note
  double peak = 0.0;
  std::optional<double> midi;
  double periodicity = 0.0;
};

}  // namespace

std::optional<TunerReading> tune(std::span<const int> open_midi, double pitch_midi) {
  std::optional<TunerReading> best;
  for (std::size_t i = 0; i < open_midi.size(); ++i) {
    const double cents = 100.0 * (pitch_midi - open_midi[i]);
    if (std::abs(cents) > 300.0 || (best && std::abs(cents) >= std::abs(best->cents))) continue;
    best = TunerReading{static_cast<int>(open_midi.size() - i), open_midi[i], cents};
  }
  return best;
}

struct PitchListener::Inside {
  explicit Inside(const PitchListenerOptions& given)
      : options(given),
        hop(even_samples(hop_seconds, given.sample_rate_hz)),
        window(even_samples(window_seconds, given.sample_rate_hz)),
        block(new_fvec(hop)),
        answer(new_fvec(1)),
        pitch(new_aubio_pitch("yinfast", window, hop,
                              static_cast<unsigned>(std::lround(given.sample_rate_hz)))),
        onset(new_aubio_onset("specflux", even_samples(onset_window_seconds, given.sample_rate_hz),
                              hop, static_cast<unsigned>(std::lround(given.sample_rate_hz)))) {
    LOWSTRIDE_EXPECTS(block && answer && pitch && onset);
    aubio_pitch_set_unit(pitch.get(), "Hz");
    aubio_pitch_set_tolerance(pitch.get(), yin_tolerance);
    aubio_pitch_set_silence(pitch.get(), static_cast<float>(options.silence_db - 20.0));
    aubio_onset_set_threshold(onset.get(), onset_threshold);
    aubio_onset_set_silence(onset.get(), static_cast<float>(options.silence_db));
    aubio_onset_set_minioi_s(onset.get(), static_cast<float>(shortest_gap_seconds));
    plan.reset(fftwf_plan_dft_r2c_1d(static_cast<int>(spectrum_size), padded.data(),
                                     reinterpret_cast<fftwf_complex*>(bins.data()), FFTW_ESTIMATE));
    LOWSTRIDE_EXPECTS(plan);
  }

  /// Magnitudes of [from, from + length) seconds under a Hann window, zero-padded; silence where
  /// nothing is known any more.
  void spectrum(double from, double length, std::vector<double>& magnitudes) {
    const auto count =
        std::min(spectrum_size, static_cast<std::size_t>(length * options.sample_rate_hz));
    const std::int64_t begin = std::llround(from * options.sample_rate_hz);
    std::fill(padded.begin(), padded.end(), 0.0F);
    for (std::size_t i = 0; i < count; ++i) {
      const std::int64_t at = begin + static_cast<std::int64_t>(i) - past_begin;
      if (at < 0 || at >= static_cast<std::int64_t>(past.size())) continue;
      const double phase =
          2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(count);
      padded[i] = static_cast<float>(past[static_cast<std::size_t>(at)] * (1.0 - std::cos(phase)) /
                                     static_cast<double>(count));
    }
    fftwf_execute(plan.get());
    magnitudes.resize(bins.size());
    for (std::size_t i = 0; i < bins.size(); ++i) magnitudes[i] = std::abs(bins[i]);
  }

  /// For each pitch from the lowest on, how much its partials hold of what came in with the stroke;
  /// 1 for the best. Empty when the note is too short to look at.
  [[nodiscard]] std::vector<double> salience(double onset_at, double to) {
    const double length = std::min(to - onset_at - 0.012, longest_look_seconds);
    if (length < shortest_look_seconds) return {};
    std::vector<double> after;
    std::vector<double> before;
    spectrum(onset_at + 0.012, length, after);
    spectrum(onset_at - 0.004 - length, length, before);
    for (std::size_t i = 0; i < after.size(); ++i)
      after[i] = std::sqrt(std::max(0.0, after[i] - kept_of_before * before[i]));
    const double bin_hz = options.sample_rate_hz / static_cast<double>(spectrum_size);
    std::vector<double> sums;
    for (int midi = options.lowest_midi; midi <= options.highest_midi; ++midi) {
      const double f0 = options.a4_hz * std::exp2((midi - 69) / 12.0);
      double sum = 0.0;
      for (int k = 1; k <= partial_count; ++k) {
        const double hz = k * f0 * std::sqrt(1.0 + stiffness * k * k);
        const double place = hz / bin_hz;
        const double width = std::max(1.0, 0.017 * place);  // 30 cents
        const auto first = static_cast<std::size_t>(std::max(0.0, place - width + 0.5));
        const auto last = static_cast<std::size_t>(std::lround(place + width));
        if (hz > highest_partial_hz || last + 1 >= after.size()) break;
        const double loudest =
            *std::max_element(after.begin() + static_cast<std::ptrdiff_t>(first),
                              after.begin() + static_cast<std::ptrdiff_t>(last) + 1);
        sum += (f0 + salience_a_hz) / (k * f0 + salience_b_hz) * loudest;
      }
      sums.push_back(sum);
    }
    const double best = *std::max_element(sums.begin(), sums.end());
    if (best <= 0.0) return {};
    for (double& sum : sums) sum /= best;
    return sums;
  }

  /// One pole and one zero at 0 Hz; what is not finite is silence.
  float without_offset(float sample) {
    const double input = std::isfinite(sample) ? static_cast<double>(sample) : 0.0;
    output_before = input - input_before + offset_decay * output_before;
    input_before = input;
    return static_cast<float>(output_before);
  }

  void take_hop() {
    Frame frame;
    ++hop_count;
    frame.end_seconds = static_cast<double>(hop_count) * hop / options.sample_rate_hz;
    double power = 0.0;
    for (unsigned i = 0; i < hop; ++i) {
      power += static_cast<double>(block->data[i]) * block->data[i];
      frame.peak = std::max(frame.peak, std::abs(static_cast<double>(block->data[i])));
    }
    frame.level_db = to_db(std::sqrt(power / hop));
    powers[static_cast<std::size_t>(hop_count) % powers.size()] = power / hop;
    double mean = 0.0;
    for (const double one : powers) mean += one / static_cast<double>(powers.size());
    frame.smooth_db = to_db(std::sqrt(mean));
    past.insert(past.end(), block->data, block->data + hop);
    if (past.size() > 2 * past_samples) {
      past.erase(past.begin(), past.begin() + static_cast<std::ptrdiff_t>(past_samples));
      past_begin += static_cast<std::int64_t>(past_samples);
    }
    aubio_pitch_do(pitch.get(), block.get(), answer.get());
    const double hz = answer->data[0];
    frame.periodicity =
        std::clamp(static_cast<double>(aubio_pitch_get_confidence(pitch.get())), 0.0, 1.0);
    if (hz > 0.0 && std::isfinite(hz) && frame.periodicity >= least_periodicity) {
      const double midi = midi_of(hz, options.a4_hz);
      if (midi > options.lowest_midi - 1.0 && midi < options.highest_midi + 1.0) frame.midi = midi;
    }
    aubio_onset_do(onset.get(), block.get(), answer.get());
    const bool is_stroke = answer->data[0] > 0.0F;
    const double stroke_at = aubio_onset_get_last_s(onset.get());
    frames.push_back(frame);
    if (frames.size() > frames_kept) frames.pop_front();
    if (is_stroke) begin_note(stroke_at, true);
    follow(frame);
  }

  /// A stroke, or a slur, at a moment.
  void begin_note(double at, bool is_stroke) {
    end_note(at);
    current = HeardNote{at, at, 0, 0.0, 0.0};
    current_is_stroke = is_stroke;
    is_decided = false;
    has_sounded = false;
    has_agreed = false;
  }

  /// What the frames between two moments say, by pitch.
  struct Vote {
    double share = 0.0;  // of periodic frames, weighted by how periodic they are
    double cents = 0.0;  // median
  };
  [[nodiscard]] std::map<int, Vote> votes_between(double from, double to) const {
    std::map<int, std::vector<double>> values;
    std::map<int, Vote> votes;
    double all = 0.0;
    for (auto frame = frames.rbegin(); frame != frames.rend() && frame->end_seconds > from;
         ++frame) {
      if (frame->end_seconds > to || !frame->midi) continue;
      const int midi = static_cast<int>(std::lround(*frame->midi));
      if (midi < options.lowest_midi || midi > options.highest_midi) continue;
      votes[midi].share += frame->periodicity;
      values[midi].push_back(100.0 * (*frame->midi - midi));
      all += frame->periodicity;
    }
    for (auto& [midi, vote] : votes) {
      vote.share /= all;
      auto& cents = values[midi];
      const auto middle = cents.begin() + static_cast<std::ptrdiff_t>(cents.size() / 2);
      std::nth_element(cents.begin(), middle, cents.end());
      vote.cents = *middle;
    }
    return votes;
  }

  /// Of the frames whose whole window lies in the note; for one that is too short, of those whose
  /// greater part does.
  [[nodiscard]] std::map<int, Vote> note_votes(double onset_at, double to) const {
    const double window_length = window / options.sample_rate_hz;
    auto whole = votes_between(onset_at + attack_seconds + window_length, to);
    return whole.empty() ? votes_between(onset_at + 0.6 * window_length, to) : whole;
  }

  /// By how much the level rises over a stroke: the loudest after it against the softest before,
  /// so that a note struck again as it is let go counts as well.
  [[nodiscard]] double lift_db(double at) const {
    double before = 120.0;
    double after = -120.0;
    for (auto frame = frames.rbegin(); frame != frames.rend() && frame->end_seconds > at - 0.06;
         ++frame) {
      if (frame->end_seconds <= at + 0.006) before = std::min(before, frame->smooth_db);
      if (frame->end_seconds > at + 0.03 && frame->end_seconds <= at + 0.09) {
        after = std::max(after, frame->smooth_db);
      }
    }
    return after - before;
  }

  void decide(double now) {
    std::map<int, Vote> votes = note_votes(current->onset_seconds, now);
    const std::vector<double> salient =
        current_is_stroke ? salience(current->onset_seconds, now) : std::vector<double>();
    double best = 0.0;
    for (int midi = options.lowest_midi; midi <= options.highest_midi; ++midi) {
      const auto found = votes.find(midi);
      const double share = found == votes.end() ? 0.0 : found->second.share;
      const double salience_here =
          salient.empty() ? 0.0 : salient[static_cast<std::size_t>(midi - options.lowest_midi)];
      const double score = salience_here + vote_weight * share;
      if (score <= best) continue;
      best = score;
      current->midi = midi;
      current->cents = found == votes.end() ? 0.0 : found->second.cents;
      current->confidence = salient.empty() ? share : score / (1.0 + vote_weight);
    }
    if (best <= 0.0) return;
    is_decided = true;
    // A noise on a string that rings on, or the sound of letting go, is no new note: without a lift
    // in level a stroke has to bring another pitch that is plainly periodic.
    const bool follows =
        !done.empty() && current->onset_seconds - done.back().offset_seconds < 0.02;
    if (!follows) return;
    const bool is_lifted = current_is_stroke && lift_db(current->onset_seconds) >= stroke_db;
    const auto found = votes.find(current->midi);
    const bool is_plain = found != votes.end() && found->second.share > 0.5;
    if (is_lifted || (is_plain && done.back().midi != current->midi)) return;
    current = done.back();
    done.pop_back();
    has_agreed = true;
  }

  void end_note(double at) {
    if (!current) return;
    if (!is_decided && has_sounded) decide(at);
    if (is_decided) {
      current->offset_seconds = std::max(at, current->onset_seconds + 0.01);
      done.push_back(*current);
    }
    current.reset();
    is_decided = false;
  }

  void follow(const Frame& frame) {
    const bool sounds = frame.level_db > options.silence_db;
    if (!current) {
      // Sung notes swell: they begin where something periodic is heard.
      if (sounds && frame.midi && holds_pitch(*frame.midi)) {
        begin_note(frame.end_seconds - 0.5 * window / options.sample_rate_hz - slur_seconds, false);
        current->onset_seconds =
            std::max(current->onset_seconds, done.empty() ? 0.0 : done.back().offset_seconds);
        has_sounded = true;
      }
      return;
    }
    has_sounded = has_sounded || frame.midi.has_value();
    if (!is_decided &&
        frame.end_seconds - current->onset_seconds >= PitchListener::decision_seconds()) {
      decide(frame.end_seconds);
    }
    silent_hops = sounds ? 0 : silent_hops + 1;
    if (silent_hops > 3) {
      end_note(frame.end_seconds - 3.0 * hop / options.sample_rate_hz);
      return;
    }
    if (!is_decided || !frame.midi) return;
    // Another pitch is a slur only where this one was heard as such before, and never an octave of
    // it: as a string dies away, its octave may outlast it.
    const auto midi = static_cast<int>(std::lround(*frame.midi));
    has_agreed = has_agreed || midi == current->midi;
    if (has_agreed && (midi - current->midi) % 12 != 0 && holds_pitch(*frame.midi)) {
      const double at = frame.end_seconds - 0.5 * window / options.sample_rate_hz - slur_seconds;
      if (at > current->onset_seconds + shortest_note_seconds) begin_note(at, false);
    }
  }

  /// Whether the latest frames show one pitch for long enough.
  [[nodiscard]] bool holds_pitch(double midi) const {
    const auto needed =
        static_cast<std::size_t>(std::ceil(slur_seconds * options.sample_rate_hz / hop));
    if (frames.size() < needed) return false;
    for (std::size_t i = 0; i < needed; ++i) {
      const Frame& frame = frames[frames.size() - 1 - i];
      if (!frame.midi || std::abs(*frame.midi - midi) > 0.4) return false;
    }
    return true;
  }

  PitchListenerOptions options;
  unsigned hop;
  unsigned window;
  std::unique_ptr<fvec_t, VectorGuard> block;
  std::unique_ptr<fvec_t, VectorGuard> answer;
  std::unique_ptr<aubio_pitch_t, PitchGuard> pitch;
  std::unique_ptr<aubio_onset_t, OnsetGuard> onset;
  std::vector<float> padded = std::vector<float>(spectrum_size);
  std::vector<std::complex<float>> bins = std::vector<std::complex<float>>(spectrum_size / 2 + 1);
  std::unique_ptr<fftwf_plan_s, FftGuard> plan;
  std::size_t past_samples = static_cast<std::size_t>(options.sample_rate_hz);
  std::vector<float> past;         // the last one to two seconds
  std::int64_t past_begin = 0;     // of past, in samples since the first
  std::array<double, 6> powers{};  // of the latest hops: 35 ms
  std::size_t filled = 0;          // of block
  double offset_decay =
      std::exp(-2.0 * std::numbers::pi * offset_cutoff_hz / options.sample_rate_hz);
  double input_before = 0.0;  // of the offset filter, a sample ago
  double output_before = 0.0;
  std::int64_t hop_count = 0;
  std::deque<Frame> frames;  // the latest
  std::optional<HeardNote> current;
  bool current_is_stroke = true;
  bool is_decided = false;
  bool has_sounded = false;
  bool has_agreed = false;  // the difference function has shown the decided pitch
  int silent_hops = 0;
  std::vector<HeardNote> done;
};

PitchListener::PitchListener(const PitchListenerOptions& options) {
  LOWSTRIDE_EXPECTS(options.sample_rate_hz >= 8000.0 && options.lowest_midi >= 0 &&
                    options.lowest_midi < options.highest_midi && options.highest_midi <= 127);
  inside_ = std::make_unique<Inside>(options);
}
PitchListener::PitchListener(PitchListener&&) noexcept = default;
PitchListener& PitchListener::operator=(PitchListener&&) noexcept = default;
PitchListener::~PitchListener() = default;

void PitchListener::push(std::span<const float> samples) {
  for (const float sample : samples) {
    inside_->block->data[inside_->filled++] = inside_->without_offset(sample);
    if (inside_->filled < inside_->hop) continue;
    inside_->filled = 0;
    inside_->take_hop();
  }
}

void PitchListener::finish() { inside_->end_note(heard_seconds()); }

const std::vector<HeardNote>& PitchListener::notes() const noexcept { return inside_->done; }

std::optional<HeardNote> PitchListener::sounding() const {
  if (!inside_->current) return std::nullopt;
  HeardNote note = *inside_->current;
  if (!inside_->is_decided) {
    // A stroke that may turn out to be a noise: until that is known the note before it goes on.
    if (inside_->done.empty()) return std::nullopt;
    if (note.onset_seconds - inside_->done.back().offset_seconds > 0.02) return std::nullopt;
    note = inside_->done.back();
  }
  note.offset_seconds = heard_seconds();
  return note;
}

bool PitchListener::is_silent() const noexcept { return !inside_->current; }

double PitchListener::heard_seconds() const noexcept {
  return (static_cast<double>(inside_->hop_count) * inside_->hop +
          static_cast<double>(inside_->filled)) /
         inside_->options.sample_rate_hz;
}

InputReading PitchListener::reading() const noexcept {
  InputReading reading;
  double power = 0.0;
  std::size_t count = 0;
  for (auto frame = inside_->frames.rbegin(); frame != inside_->frames.rend() && count < 17;
       ++frame, ++count) {
    power += std::pow(10.0, frame->level_db / 10.0);
    reading.peak = std::max(reading.peak, frame->peak);
  }
  if (count == 0) return reading;
  reading.level_db = 10.0 * std::log10(power / static_cast<double>(count));
  if (reading.level_db > inside_->options.silence_db)
    reading.pitch_midi = inside_->frames.back().midi;
  return reading;
}

std::vector<HeardNote> hear_notes(std::span<const float> samples,
                                  const PitchListenerOptions& options) {
  PitchListener listener(options);
  listener.push(samples);
  listener.finish();
  return listener.notes();
}

}  // namespace lowstride::audio
