#include "dsp/pitch/note_decoder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <span>
#include <tuple>
#include <utility>

#include "dsp/base/contracts.hpp"
#include "dsp/pitch/note_path.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t pitch_count = evidence_pitch_count;
constexpr std::size_t peak_reach_frames = 3;
// What rings out of a decided span may begin again with a strike this sure, or after fading.
constexpr float sure_strike = 0.3F;
constexpr float faded_posterior = 0.2F;
// A note that begins this shortly before a decided span and rings into it is what was decided:
// people set onsets by hand, up to some 50 ms late, and a frame or two are added for the rounding.
constexpr std::size_t lead_in_frames = 6;
constexpr float sure_dead_stroke = 0.5F;
constexpr std::size_t dead_stroke_frames = 7;  // 81 ms: a muted string is silent after that
constexpr std::size_t alternative_count = 4;

// Frames whose centres lie in [begin, end) seconds.
std::pair<std::size_t, std::size_t> frames_within(double begin_seconds, double end_seconds,
                                                  std::size_t frame_count) {
  const auto frames = static_cast<double>(frame_count);
  const double begin = std::clamp(std::ceil(seconds_frame(begin_seconds) - 1e-6), 0.0, frames);
  const double end = std::clamp(std::ceil(seconds_frame(end_seconds) - 1e-6), begin, frames);
  return {static_cast<std::size_t>(begin), static_cast<std::size_t>(end)};
}

// First frame in [begin, end) that has the greatest strength.
template <typename Strength>
bool is_first_peak(std::size_t frame, std::size_t begin, std::size_t end, Strength strength) {
  const float here = strength(frame);
  const std::size_t from = frame >= begin + peak_reach_frames ? frame - peak_reach_frames : begin;
  const std::size_t to = std::min(end, frame + peak_reach_frames + 1);
  for (std::size_t t = from; t < to; ++t) {
    if (strength(t) > here || (strength(t) == here && t < frame)) return false;
  }
  return true;
}

class Decoding {
 public:
  Decoding(const Evidence& evidence, const NoteDecoderOptions& options)
      : evidence_(evidence),
        decided_(options.decided),
        lowest_(static_cast<std::size_t>(options.lowest_midi - lowest_evidence_midi)),
        highest_(static_cast<std::size_t>(options.highest_midi - lowest_evidence_midi)),
        end_(evidence.frame_count()) {
    if (options.stretch) {
      std::tie(begin_, end_) = frames_within(options.stretch->begin_seconds,
                                             options.stretch->end_seconds, evidence.frame_count());
    }
    is_closed_.assign(end_ - begin_, false);
    for (const DecidedSpan& span : options.decided) {
      const auto [first, last] =
          frames_within(span.begin_seconds, span.end_seconds, evidence.frame_count());
      for (std::size_t t = std::max(first, begin_); t < std::min(last, end_); ++t) {
        is_closed_[t - begin_] = true;
      }
    }
  }

  std::vector<DecodedNote> run() {
    if (begin_ == end_) return {};
    std::vector<PathNote> path = find_path();
    std::vector<DecodedNote> notes;
    notes.reserve(path.size());
    for (const PathNote& found : path) notes.push_back(describe(found));
    add_dead_strokes(path, notes);
    keep_apart(notes);
    return notes;
  }

 private:
  bool is_closed(std::size_t frame) const { return is_closed_[frame - begin_]; }
  float onset(std::size_t frame, std::size_t pitch) const {
    return evidence_.onset.row(frame)[pitch];
  }
  // 1 / (what the posterior gives to the allowed pitches and none).
  float posterior_scale(std::size_t frame) const {
    const auto row = evidence_.pitch.row(frame);
    float sum = row[no_pitch_column];
    for (std::size_t p = lowest_; p <= highest_; ++p) sum += row[p];
    return 1.0F / std::max(sum, 1e-9F);
  }
  bool is_strike(std::size_t frame, std::size_t pitch) const {
    return is_first_peak(frame, begin_, end_, [&](std::size_t t) { return onset(t, pitch); });
  }

  std::vector<PathNote> find_path() const {
    NotePathSearch search(end_ - begin_);
    // At the edges of a stretch, what lies outside counts as decided.
    std::array<bool, pitch_count> is_ringing{};
    is_ringing.fill(begin_ > 0);
    if (begin_ > 0) forget_struck(begin_, is_ringing);
    for (std::size_t t = begin_; t < end_; ++t) {
      NotePathFrame frame;
      frame.is_closed = is_closed(t);
      const auto posterior = evidence_.pitch.row(t);
      const float scale = posterior_scale(t);
      frame.log_posterior.fill(std::log(1e-9F));
      for (std::size_t p = lowest_; p <= highest_; ++p) {
        frame.log_posterior[p] = std::log(std::max(posterior[p] * scale, 1e-9F));
        if (is_strike(t, p)) frame.strike[p] = std::clamp(onset(t, p), 0.0F, 1.0F);
      }
      frame.log_posterior[no_pitch_column] =
          std::log(std::max(posterior[no_pitch_column] * scale, 1e-9F));

      if (frame.is_closed) {
        is_ringing.fill(true);
        if (t + 1 < end_ && !is_closed(t + 1)) forget_struck(t + 1, is_ringing);
      }
      for (std::size_t p = 0; p < pitch_count; ++p) {
        const bool is_outside = p < lowest_ || p > highest_;
        if (!frame.is_closed && !is_outside &&
            (frame.strike[p] >= sure_strike || posterior[p] * scale < faded_posterior)) {
          is_ringing[p] = false;
        }
        frame.is_barred[p] = is_outside || is_ringing[p] || leads_into_decided(t, p);
      }
      search.add(frame);
    }
    std::vector<PathNote> path = search.finish();
    for (PathNote& note : path) note.begin_frame += begin_, note.end_frame += begin_;
    return path;
  }

  // A strike just before a span opens belongs to the note after it.
  void forget_struck(std::size_t opening, std::array<bool, pitch_count>& is_ringing) const {
    for (std::size_t p = lowest_; p <= highest_; ++p) {
      const std::size_t from = opening >= peak_reach_frames ? opening - peak_reach_frames : 0;
      for (std::size_t t = from; t < opening; ++t) {
        if (onset(t, p) >= sure_strike) is_ringing[p] = false;
      }
    }
  }

  bool leads_into_decided(std::size_t frame, std::size_t pitch) const {
    for (std::size_t t = frame + 1; t < std::min(end_, frame + 1 + lead_in_frames); ++t) {
      if (is_closed(t)) return evidence_.pitch.row(t)[pitch] * posterior_scale(t) >= 0.5F;
    }
    return false;
  }

  // Vertex of the parabola through the logarithms of three onset strengths, within half a frame.
  double struck_frame(const PathNote& note) const {
    const std::size_t at = note.begin_frame;
    const auto begin = static_cast<double>(at);
    if (at == 0 || at + 1 >= evidence_.frame_count() || !is_strike(at, note.pitch_index)) {
      return begin;
    }
    const auto level = [&](std::size_t t) {
      return std::log(std::max(static_cast<double>(onset(t, note.pitch_index)), 1e-9));
    };
    const double before = level(at - 1);
    const double after = level(at + 1);
    const double curve = before - 2.0 * level(at) + after;
    if (curve >= -1e-9) return begin;
    return begin + std::clamp(0.5 * (before - after) / curve, -0.5, 0.5);
  }

  // Mean posterior over [begin, end), over the allowed pitches.
  std::array<double, pitch_count> mean_posterior(std::size_t begin, std::size_t end) const {
    std::array<double, pitch_count> mean{};
    for (std::size_t t = begin; t < end; ++t) {
      const auto row = evidence_.pitch.row(t);
      const float scale = posterior_scale(t);
      for (std::size_t p = lowest_; p <= highest_; ++p) {
        mean[p] += static_cast<double>(row[p] * scale);
      }
    }
    for (double& value : mean) value /= static_cast<double>(end - begin);
    return mean;
  }

  DecodedNote describe(const PathNote& found) const {
    DecodedNote note;
    note.midi = lowest_evidence_midi + static_cast<int>(found.pitch_index);
    note.onset_seconds = frame_seconds(struck_frame(found));
    note.offset_seconds = frame_seconds(static_cast<double>(found.end_frame));

    const auto mean = mean_posterior(found.begin_frame, found.end_frame);
    note.confidence = mean[found.pitch_index];
    double octaves = 0.0;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      if (p % 12 == found.pitch_index % 12) octaves += mean[p];
      if (p != found.pitch_index && mean[p] > 1e-4) {
        note.alternatives.push_back({lowest_evidence_midi + static_cast<int>(p), mean[p]});
      }
    }
    note.octave_margin = mean[found.pitch_index] / std::max(octaves, 1e-12);
    std::ranges::stable_sort(note.alternatives,
                             [](const PitchCandidate& a, const PitchCandidate& b) {
                               return a.probability > b.probability;
                             });
    if (note.alternatives.size() > alternative_count) note.alternatives.resize(alternative_count);
    return note;
  }

  // Times lie between frames, so that a note may reach into its neighbour or a decided span.
  void keep_apart(std::vector<DecodedNote>& notes) const {
    for (std::size_t i = 0; i < notes.size(); ++i) {
      DecodedNote& note = notes[i];
      for (const DecidedSpan& span : decided_) {
        if (note.onset_seconds < span.end_seconds && note.offset_seconds > span.end_seconds) {
          note.onset_seconds = span.end_seconds;
        }
        if (note.onset_seconds < span.begin_seconds && note.offset_seconds > span.begin_seconds) {
          note.offset_seconds = span.begin_seconds;
        }
      }
      if (i > 0) {
        notes[i - 1].offset_seconds = std::min(notes[i - 1].offset_seconds, note.onset_seconds);
      }
    }
  }

  // Dead strokes stand between notes; one within a note ends it, unless the note goes on sounding.
  void add_dead_strokes(const std::vector<PathNote>& path, std::vector<DecodedNote>& notes) const {
    if (evidence_.dead.size() != evidence_.frame_count()) return;
    const auto strength = [&](std::size_t t) { return evidence_.dead[t]; };
    std::vector<DecodedNote> strokes;
    std::size_t next = 0;  // first note of the path that begins after the stroke
    for (std::size_t t = begin_; t < end_; ++t) {
      if (strength(t) < sure_dead_stroke || is_closed(t)) continue;
      if (!is_first_peak(t, begin_, end_, strength)) continue;
      while (next < path.size() && path[next].begin_frame <= t) ++next;
      if (next < path.size() && path[next].begin_frame < t + peak_reach_frames) continue;
      std::size_t stop = std::min(end_, t + dead_stroke_frames);
      if (next < path.size()) stop = std::min(stop, path[next].begin_frame);
      for (std::size_t u = t; u < stop; ++u) {
        if (is_closed(u)) stop = u;
      }
      if (next > 0 && path[next - 1].end_frame > t) {
        const PathNote& under = path[next - 1];
        if (t < under.begin_frame + shortest_note_frames) continue;
        if (under.end_frame > t + dead_stroke_frames) continue;
        notes[next - 1].offset_seconds = frame_seconds(static_cast<double>(t));
      }
      strokes.push_back(describe_dead(t, stop));
    }
    std::vector<DecodedNote> all;
    all.reserve(notes.size() + strokes.size());
    std::ranges::merge(notes, strokes, std::back_inserter(all), {}, &DecodedNote::onset_seconds,
                       &DecodedNote::onset_seconds);
    notes = std::move(all);
  }

  DecodedNote describe_dead(std::size_t begin, std::size_t end) const {
    DecodedNote note;
    note.is_dead = true;
    note.confidence = static_cast<double>(evidence_.dead[begin]);
    note.onset_seconds = frame_seconds(static_cast<double>(begin));
    note.offset_seconds = frame_seconds(static_cast<double>(end));
    // The string that was muted, as far as it sounds at all.
    const auto mean = mean_posterior(begin, end);
    const auto first = mean.begin() + static_cast<std::ptrdiff_t>(lowest_);
    const auto last = mean.begin() + static_cast<std::ptrdiff_t>(highest_) + 1;
    note.midi =
        lowest_evidence_midi + static_cast<int>(std::max_element(first, last) - mean.begin());
    return note;
  }

  const Evidence& evidence_;
  const std::vector<DecidedSpan>& decided_;
  std::size_t lowest_;  // pitches, as columns
  std::size_t highest_;
  std::size_t begin_ = 0;  // frames of the evidence that are read
  std::size_t end_;
  std::vector<bool> is_closed_;  // [frame - begin_]
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
