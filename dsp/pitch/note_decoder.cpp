#include "dsp/pitch/note_decoder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "dsp/base/contracts.hpp"
#include "dsp/pitch/note_path.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t pitch_count = evidence_pitch_count;
constexpr std::size_t peak_reach_frames = 3;
// A strike this sure lets a pitch begin again after a decided span.
constexpr float sure_strike = 0.3F;
constexpr double sure_dead_stroke = 0.5;
constexpr std::size_t alternative_count = 4;

// Frames [first, last) of the evidence that are read; row 0 of every table below is `first`.
struct Window {
  std::size_t first = 0;
  std::size_t last = 0;

  std::size_t size() const { return last - first; }
};

Window window_of(const Evidence& evidence, const NoteDecoderOptions& options) {
  Window window{0, evidence.frame_count()};
  if (options.stretch) {
    const auto frames = static_cast<double>(evidence.frame_count());
    const double begin = std::ceil(seconds_frame(options.stretch->begin_seconds) - 1e-6);
    const double end = std::ceil(seconds_frame(options.stretch->end_seconds) - 1e-6);
    window.first = static_cast<std::size_t>(std::clamp(begin, 0.0, frames));
    window.last = std::max(window.first, static_cast<std::size_t>(std::clamp(end, 0.0, frames)));
  }
  return window;
}

class Decoding {
 public:
  Decoding(const Evidence& evidence, const NoteDecoderOptions& options)
      : evidence_(evidence),
        options_(options),
        window_(window_of(evidence, options)),
        lowest_(static_cast<std::size_t>(options.lowest_midi - lowest_evidence_midi)),
        highest_(static_cast<std::size_t>(options.highest_midi - lowest_evidence_midi)) {}

  std::vector<DecodedNote> run() {
    if (window_.size() == 0) return {};
    read_posterior();
    read_strikes();
    close_decided();
    bar_ringing();
    std::vector<DecodedNote> notes;
    for (const PathNote& found : find_note_path(input_)) notes.push_back(describe(found));
    end_at_next(notes);
    add_dead(notes);
    return notes;
  }

 private:
  std::span<const float> posterior(std::size_t frame) const { return posterior_.row(frame); }
  float onset(std::size_t frame, std::size_t pitch) const {
    return evidence_.onset.row(window_.first + frame)[pitch];
  }
  double seconds(double frame) const {
    return frame_seconds(frame + static_cast<double>(window_.first));
  }

  void read_posterior() {
    posterior_ = Table(window_.size(), pitch_count + 1);
    input_.log_posterior = Table(window_.size(), pitch_count + 1);
    for (std::size_t t = 0; t < window_.size(); ++t) {
      const auto from = evidence_.pitch.row(window_.first + t);
      const auto to = posterior_.row(t);
      float sum = from[no_pitch_column];
      for (std::size_t p = lowest_; p <= highest_; ++p) sum += from[p];
      const float scale = 1.0F / std::max(sum, 1e-9F);
      for (std::size_t p = lowest_; p <= highest_; ++p) to[p] = from[p] * scale;
      to[no_pitch_column] = from[no_pitch_column] * scale;
      const auto log_row = input_.log_posterior.row(t);
      for (std::size_t p = 0; p <= pitch_count; ++p) log_row[p] = std::log(std::max(to[p], 1e-9F));
    }
  }

  bool is_peak(std::size_t frame, std::size_t pitch) const {
    const float here = onset(frame, pitch);
    const std::size_t begin = frame >= peak_reach_frames ? frame - peak_reach_frames : 0;
    const std::size_t end = std::min(window_.size(), frame + peak_reach_frames + 1);
    for (std::size_t t = begin; t < end; ++t) {
      const float there = onset(t, pitch);
      // The first of equals is the maximum.
      if (there > here || (there == here && t < frame)) return false;
    }
    return true;
  }

  void read_strikes() {
    input_.strike = Table(window_.size(), pitch_count);
    for (std::size_t t = 0; t < window_.size(); ++t) {
      const auto row = input_.strike.row(t);
      for (std::size_t p = lowest_; p <= highest_; ++p) {
        if (is_peak(t, p)) row[p] = std::clamp(onset(t, p), 0.0F, 1.0F);
      }
    }
  }

  void close_decided() {
    input_.closed.assign(window_.size(), 0);
    for (const DecidedSpan& span : options_.decided) {
      for (std::size_t t = 0; t < window_.size(); ++t) {
        const double time = seconds(static_cast<double>(t));
        if (time >= span.begin_seconds && time < span.end_seconds) input_.closed[t] = 1;
      }
    }
  }

  // Pitches may not begin outside the range, nor go on out of a decided span without a strike.
  void bar_ringing() {
    input_.barred = Table(window_.size(), pitch_count);
    std::array<bool, pitch_count> is_ringing{};
    is_ringing.fill(window_.first > 0);
    for (std::size_t t = 0; t < window_.size(); ++t) {
      const auto row = input_.barred.row(t);
      for (std::size_t p = 0; p < pitch_count; ++p) {
        if (input_.closed[t] != 0) {
          is_ringing[p] = true;
        } else if (input_.strike.row(t)[p] >= sure_strike || posterior(t)[p] < 0.2F) {
          is_ringing[p] = false;
        }
        const bool is_outside = p < lowest_ || p > highest_;
        row[p] = is_outside || is_ringing[p] ? 1.0F : 0.0F;
      }
    }
  }

  // Vertex of the parabola through the logarithms of three onset strengths, within half a frame.
  double struck_frame(const PathNote& note) const {
    const std::size_t begin = note.begin_frame;
    if (begin == 0 || begin + 1 >= window_.size()) return static_cast<double>(begin);
    if (input_.strike.row(begin)[note.pitch_index] <= 0.0F) return static_cast<double>(begin);
    const auto level = [&](std::size_t t) {
      return std::log(std::max(static_cast<double>(onset(t, note.pitch_index)), 1e-9));
    };
    const double before = level(begin - 1);
    const double here = level(begin);
    const double after = level(begin + 1);
    const double curve = before - 2.0 * here + after;
    if (curve >= -1e-9) return static_cast<double>(begin);
    return static_cast<double>(begin) + std::clamp(0.5 * (before - after) / curve, -0.5, 0.5);
  }

  DecodedNote describe(const PathNote& found) const {
    DecodedNote note;
    note.midi = lowest_evidence_midi + static_cast<int>(found.pitch_index);
    note.onset_seconds = seconds(std::max(0.0, struck_frame(found)));
    note.offset_seconds = seconds(static_cast<double>(found.end_frame));

    std::array<double, pitch_count> mean{};
    for (std::size_t t = found.begin_frame; t < found.end_frame; ++t) {
      for (std::size_t p = 0; p < pitch_count; ++p) mean[p] += static_cast<double>(posterior(t)[p]);
    }
    for (double& value : mean) value /= static_cast<double>(found.end_frame - found.begin_frame);

    note.confidence = mean[found.pitch_index];
    double octaves = 0.0;
    std::vector<PitchCandidate> others;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      const std::size_t apart =
          p > found.pitch_index ? p - found.pitch_index : found.pitch_index - p;
      if (apart % 12 == 0) octaves += mean[p];
      if (apart != 0 && mean[p] > 1e-4) {
        others.push_back({lowest_evidence_midi + static_cast<int>(p), mean[p]});
      }
    }
    note.octave_margin = octaves > 0.0 ? mean[found.pitch_index] / octaves : 0.0;
    std::ranges::stable_sort(others, [](const PitchCandidate& a, const PitchCandidate& b) {
      return a.probability > b.probability;
    });
    if (others.size() > alternative_count) others.resize(alternative_count);
    note.alternatives = std::move(others);
    return note;
  }

  static void end_at_next(std::vector<DecodedNote>& notes) {
    for (std::size_t i = 0; i + 1 < notes.size(); ++i) {
      notes[i].offset_seconds = std::min(notes[i].offset_seconds, notes[i + 1].onset_seconds);
    }
  }

  void add_dead(std::vector<DecodedNote>& notes) const { static_cast<void>(notes); }

  const Evidence& evidence_;
  const NoteDecoderOptions& options_;
  Window window_;
  std::size_t lowest_;
  std::size_t highest_;
  Table posterior_;  // [frame of the window][46], over the allowed pitches and none
  NotePathInput input_;
};

}  // namespace

std::vector<DecodedNote> decode_notes(const Evidence& evidence, const NoteDecoderOptions& options) {
  LOWSTRIDE_EXPECTS(options.lowest_midi >= lowest_evidence_midi);
  LOWSTRIDE_EXPECTS(options.highest_midi <
                    lowest_evidence_midi + static_cast<int>(evidence_pitch_count));
  LOWSTRIDE_EXPECTS(options.lowest_midi <= options.highest_midi);
  LOWSTRIDE_EXPECTS(evidence.onset.row_count() == evidence.frame_count());
  return Decoding(evidence, options).run();
}

}  // namespace lowstride::dsp
