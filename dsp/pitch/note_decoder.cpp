#include "dsp/pitch/note_decoder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
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
constexpr std::size_t look_back_frames = 8;    // where strikes are weighed by what sounded before
constexpr std::size_t alternative_count = 4;

// Frames whose centres lie in [begin, end) seconds.
std::pair<std::size_t, std::size_t> frames_within(double begin_seconds, double end_seconds,
                                                  std::size_t frame_count) {
  const auto frames = static_cast<double>(frame_count);
  const double begin = std::clamp(std::ceil(seconds_frame(begin_seconds) - 1e-6), 0.0, frames);
  const double end = std::clamp(std::ceil(seconds_frame(end_seconds) - 1e-6), begin, frames);
  return {static_cast<std::size_t>(begin), static_cast<std::size_t>(end)};
}

// Of a probability that is kept `margin` away from 0 and 1.
double log_odds(double probability, double margin) {
  const double bounded = std::clamp(probability, margin, 1.0 - margin);
  return std::log(bounded / (1.0 - bounded));
}

double probability_of(double odds_log) { return 1.0 / (1.0 + std::exp(-odds_log)); }

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
        end_(evidence.frame_count()),
        knows_of_a_line_(options.stretch.has_value() || !options.decided.empty()) {
    if (options.stretch) {
      std::tie(begin_, end_) = frames_within(options.stretch->begin_seconds,
                                             options.stretch->end_seconds, evidence.frame_count());
    }
    read_scale();
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
    std::vector<Found> found;
    for (const PathNote& note : find_path()) found.push_back(describe(note));
    if (!knows_of_a_line_) drop_hearsay(found);
    std::vector<DecodedNote> notes = with_dead_strokes(found);
    keep_apart(notes);
    return notes;
  }

 private:
  struct Found {
    PathNote path;
    DecodedNote note;
    double mean_posterior = 0.0;
  };

  bool is_closed(std::size_t frame) const { return is_closed_[frame - begin_]; }
  float onset(std::size_t frame, std::size_t pitch) const {
    return evidence_.onset.at(frame, pitch);
  }
  // What the posterior gives to the allowed pitches and none makes 1.
  float posterior_scale(std::size_t frame) const { return scale_[frame - scale_begin_]; }
  void read_scale() {
    scale_begin_ = begin_ - std::min(begin_, look_back_frames);
    scale_.reserve(end_ - scale_begin_);
    for (std::size_t t = scale_begin_; t < end_; ++t) {
      const auto row = evidence_.pitch.row(t);
      float sum = row[no_pitch_column];
      for (std::size_t p = lowest_; p <= highest_; ++p) sum += row[p];
      scale_.push_back(1.0F / std::max(sum, 1e-9F));
    }
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
        if (is_strike(t, p)) {
          frame.strike[p] = std::clamp(onset(t, p), 0.0F, 1.0F);
          frame.again[p] = strike_while_sounding(t, p);
        }
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

  // Other instruments strike, too, while a note is held. Hands damp a string before they strike it
  // again, so that the posterior dips: logistic regression on 2,299 peaks of learned evidence
  // within held notes (fonts and composing foreign to its training) over the log-odds of the peak
  // and of the mean posterior of the 93 ms before it; a tenth fewer errors than the peak alone.
  float strike_while_sounding(std::size_t frame, std::size_t pitch) const {
    if (frame == 0 || onset(frame, pitch) < 0.05F) return 0.0F;
    const double strike = log_odds(static_cast<double>(onset(frame, pitch)), 1e-3);
    const double before =
        mean_posterior_of(pitch, frame - std::min(frame, look_back_frames), frame);
    return static_cast<float>(probability_of(-0.15 + 1.5 * strike - 0.58 * log_odds(before, 1e-3)));
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
      if (is_closed(t)) return evidence_.pitch.at(t, pitch) * posterior_scale(t) >= 0.5F;
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

  double mean_posterior_of(std::size_t pitch, std::size_t begin, std::size_t end) const {
    double sum = 0.0;
    for (std::size_t t = begin; t < end; ++t) {
      sum += static_cast<double>(evidence_.pitch.at(t, pitch) * posterior_scale(t));
    }
    return sum / static_cast<double>(end - begin);
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

  // Probability that onset (within 50 ms) and pitch are right: logistic regression on 9,315 notes
  // of learned evidence (fonts and composing foreign to its training) over the log-odds of the
  // mean posterior, of the strike, and of the posterior before the strike, which is high where a
  // note may only seem to be repeated. Expected calibration error .005 and .012 on these notes, and
  // .016 and .022 on 3,641 notes of the same recordings after the nets had been trained further.
  double confidence_of(const PathNote& note, double mean_posterior) const {
    const std::size_t begin = note.begin_frame;
    const std::size_t p = note.pitch_index;
    double strike = 0.0;
    for (std::size_t t = begin - std::min<std::size_t>(begin, 1);
         t < std::min(begin + 2, evidence_.frame_count()); ++t) {
      strike = std::max(strike, static_cast<double>(onset(t, p)));
    }
    const std::size_t from = begin - std::min<std::size_t>(begin, 4);
    const double before = mean_posterior_of(p, from, begin + 1);
    return probability_of(-1.33 + 0.81 * log_odds(mean_posterior, 0.01) +
                          0.88 * log_odds(strike, 0.02) - 0.34 * log_odds(before, 0.02));
  }

  Found describe(const PathNote& found) const {
    DecodedNote note;
    note.midi = lowest_evidence_midi + static_cast<int>(found.pitch_index);
    note.onset_seconds = frame_seconds(struck_frame(found));
    // Between the last frame that sounds and the first that does not.
    note.offset_seconds = frame_seconds(static_cast<double>(found.end_frame) - 0.5);

    const auto mean = mean_posterior(found.begin_frame, found.end_frame);
    note.confidence = confidence_of(found, mean[found.pitch_index]);
    // What the note leaves, its rivals share.
    const double left =
        std::min(1.0, (1.0 - note.confidence) / std::max(1.0 - mean[found.pitch_index], 1e-9));
    double octaves = 0.0;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      if (p % 12 == found.pitch_index % 12) octaves += mean[p];
      if (p != found.pitch_index && mean[p] > 1e-4) {
        note.alternatives.push_back({lowest_evidence_midi + static_cast<int>(p), mean[p] * left});
      }
    }
    note.octave_margin = mean[found.pitch_index] / std::max(octaves, 1e-12);
    std::ranges::stable_sort(note.alternatives,
                             [](const PitchCandidate& a, const PitchCandidate& b) {
                               return a.probability > b.probability;
                             });
    if (note.alternatives.size() > alternative_count) note.alternatives.resize(alternative_count);
    return {found, std::move(note), mean[found.pitch_index]};
  }

  // Speech and the like give short, doubtful notes here and there, which a line never does: near
  // every note of a line lie sure notes, or the voice sounds much of the time. On three synthetic
  // voices the rule leaves none of 33 such notes (first weights); scores of lines keep their third
  // decimal.
  void drop_hearsay(std::vector<Found>& found) const {
    constexpr double reach_frames = 861.0;  // 10 s
    constexpr double sure_posterior = 0.88;
    constexpr std::size_t sure_frames = 22;  // 0.26 s
    constexpr double sounding_share = 0.2;
    const auto begin_of = [](const Found& one) {
      return static_cast<double>(one.path.begin_frame);
    };
    std::vector<Found> kept;
    for (const Found& one : found) {
      const double from = begin_of(one) - reach_frames;
      const double to = begin_of(one) + reach_frames;
      std::size_t sure = 0;
      std::size_t sounding = 0;
      for (auto other = std::ranges::lower_bound(found, from, {}, begin_of);
           other != found.end() && begin_of(*other) < to; ++other) {
        const std::size_t frames = other->path.end_frame - other->path.begin_frame;
        sounding += frames;
        if (other->mean_posterior >= sure_posterior) sure += frames;
      }
      const double heard =
          std::min(to, static_cast<double>(end_)) - std::max(from, static_cast<double>(begin_));
      if (sure >= sure_frames || static_cast<double>(sounding) >= sounding_share * heard) {
        kept.push_back(one);
      }
    }
    found = std::move(kept);
  }

  // Times lie between frames, so that a note may reach into its neighbour or a decided span.
  void keep_apart(std::vector<DecodedNote>& notes) const {
    for (std::size_t i = 1; i < notes.size(); ++i) {
      const bool is_joined =
          notes[i].onset_seconds - notes[i - 1].offset_seconds < frame_seconds(1.0);
      if (is_joined) notes[i - 1].offset_seconds = notes[i].onset_seconds;
    }
    for (DecodedNote& note : notes) {
      for (const DecidedSpan& span : decided_) {
        if (note.onset_seconds < span.end_seconds && note.offset_seconds > span.end_seconds) {
          note.onset_seconds = span.end_seconds;
        }
        if (note.onset_seconds < span.begin_seconds && note.offset_seconds > span.begin_seconds) {
          note.offset_seconds = span.begin_seconds;
        }
      }
    }
  }

  // Dead strokes stand between notes; one within a note ends it, unless the note goes on sounding.
  std::vector<DecodedNote> with_dead_strokes(std::vector<Found>& found) const {
    std::vector<DecodedNote> strokes;
    const auto strength = [&](std::size_t t) { return evidence_.dead[t]; };
    const bool is_known = evidence_.dead.size() == evidence_.frame_count();
    std::size_t next = 0;  // first note that begins after the stroke
    for (std::size_t t = begin_; is_known && t < end_; ++t) {
      if (strength(t) < sure_dead_stroke || is_closed(t)) continue;
      if (!is_first_peak(t, begin_, end_, strength)) continue;
      while (next < found.size() && found[next].path.begin_frame <= t) ++next;
      if (next < found.size() && found[next].path.begin_frame < t + peak_reach_frames) continue;
      std::size_t stop = std::min(end_, t + dead_stroke_frames);
      if (next < found.size()) stop = std::min(stop, found[next].path.begin_frame);
      for (std::size_t u = t; u < stop; ++u) {
        if (is_closed(u)) stop = u;
      }
      if (next > 0 && found[next - 1].path.end_frame > t) {
        Found& under = found[next - 1];
        if (t < under.path.begin_frame + shortest_note_frames) continue;
        if (under.path.end_frame > t + dead_stroke_frames) continue;
        under.note.offset_seconds = frame_seconds(static_cast<double>(t));
      }
      strokes.push_back(describe_dead(t, stop));
    }
    std::vector<DecodedNote> notes;
    notes.reserve(found.size() + strokes.size());
    for (Found& one : found) notes.push_back(std::move(one.note));
    notes.insert(notes.end(), strokes.begin(), strokes.end());
    std::ranges::stable_sort(notes, {}, &DecodedNote::onset_seconds);
    return notes;
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
  bool knows_of_a_line_;  // a person has worked here
  std::size_t scale_begin_ = 0;
  std::vector<float> scale_;     // [frame - scale_begin_]
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
