#include "src/analysis/reading.hpp"

#include <algorithm>
#include <utility>
#include <variant>
#include <vector>

#include "dsp/harmony/form.hpp"
#include "dsp/learned/listener.hpp"
#include "dsp/learned/weights.hpp"

namespace lowstride::analysis {
namespace {

constexpr std::size_t block_samples = 16384;
constexpr int lowest_guitar_midi = 40;   // low E; a lower open string of the neck counts instead
constexpr int highest_guitar_midi = 62;  // D4: above it the fingers play, not the thumb

/// Hands the whole of `audio` to `take_block`, block by block.
template <typename TakeBlock>
Result<void> for_each_block(const audio::AnalysisAudio& audio, const WorkControl& control,
                            std::string_view stage, double from_share, double to_share,
                            TakeBlock take_block) {
  std::vector<float> block(block_samples);
  const std::int64_t count = audio.sample_count();
  for (std::int64_t begin = 0; begin < count; begin += static_cast<std::int64_t>(block_samples)) {
    if (control.is_cancelled()) return fail(ErrorCode::cancelled, "The analysis was stopped.");
    const auto size = static_cast<std::size_t>(
        std::min<std::int64_t>(count - begin, static_cast<std::int64_t>(block_samples)));
    const std::span<float> samples(block.data(), size);
    if (const auto read = audio.read(begin, samples); !read) return tl::unexpected(read.error());
    take_block(std::span<const float>(samples));
    control.report(stage, from_share + (to_share - from_share) * static_cast<double>(begin) /
                                           static_cast<double>(count));
  }
  return {};
}

void move_in_time(dsp::DecodedGrid& grid, double seconds) {
  for (auto& beat : grid.beats) beat.time_seconds += seconds;
}

void move_in_time(std::vector<dsp::DecodedNote>& notes, double seconds) {
  for (auto& note : notes) {
    note.onset_seconds += seconds;
    note.offset_seconds += seconds;
  }
}

template <typename Spans>
void move_spans(Spans& spans, double seconds) {
  for (auto& span : spans) {
    span.begin_seconds += seconds;
    span.end_seconds += seconds;
  }
}

dsp::BeatDecoderOptions beat_options(const take::Take& take, const Hints& hints, double begin) {
  dsp::BeatDecoderOptions options;
  options.beats_per_bar = hints.beats_per_bar;
  options.first_bar_seconds = hints.first_bar_seconds;
  take::add_confirmed_grid(take, options);
  options.tempo_bpm = hints.tempo_bpm;
  for (double& seconds : options.fixed_beats_seconds) seconds -= begin;
  std::erase_if(options.fixed_beats_seconds, [](double seconds) { return seconds < 0.0; });
  if (options.first_bar_seconds) *options.first_bar_seconds -= begin;
  return options;
}

dsp::NoteDecoderOptions note_options(const take::Take& take, take::Voice voice, double begin) {
  dsp::NoteDecoderOptions options;
  if (voice == take::Voice::guitar) {
    const auto& open = take.neck.open_midi;
    const bool is_guitar_neck = open.size() >= 6;
    options.lowest_midi = is_guitar_neck
                              ? std::min(open.front() + take.neck.capo, lowest_guitar_midi)
                              : lowest_guitar_midi;
    options.highest_midi = highest_guitar_midi;
  }
  options.decided = take::decided_spans(take);
  move_spans(options.decided, -begin);
  return options;
}

}  // namespace

Result<dsp::Evidence> listen(const audio::AnalysisAudio& audio, const WorkControl& control) {
  const auto weights = dsp::embedded_weights();
  if (const auto* error = std::get_if<dsp::WeightsError>(&weights)) {
    return fail(ErrorCode::damaged, "The trained weights in this program are damaged (" +
                                        error->message + "); install Lowstride again.");
  }
  dsp::Survey survey;
  const auto surveyed =
      for_each_block(audio, control, "Tuning", 0.15, 0.3,
                     [&](std::span<const float> samples) { survey.process(samples); });
  if (!surveyed) return tl::unexpected(surveyed.error());
  dsp::Listener listener(std::get<dsp::Weights>(weights), survey.finish());
  const auto heard =
      for_each_block(audio, control, "Listening", 0.3, 0.9,
                     [&](std::span<const float> samples) { listener.process(samples); });
  if (!heard) return tl::unexpected(heard.error());
  return listener.finish();
}

Reading read_evidence(const dsp::Evidence& evidence, double begin_seconds, const take::Take& take,
                      const Hints& hints) {
  Reading reading;
  take::Proposals& proposals = reading.proposals;
  proposals.analysis_version = analysis_version;
  proposals.a4_hz = evidence.a4_hz;
  const take::Voice voice = hints.voice.value_or(guessed_voice(evidence));
  proposals.voice = voice;

  if (hints.grid) {
    proposals.grid = *hints.grid;
    move_in_time(proposals.grid, -begin_seconds);
  } else {
    proposals.grid = dsp::decode_beats(evidence, beat_options(take, hints, begin_seconds));
    proposals.grid.swing_ratio = dsp::estimate_swing_ratio(proposals.grid, evidence);
  }
  proposals.notes = dsp::decode_notes(evidence, note_options(take, voice, begin_seconds));

  dsp::ChordDecoderOptions chords;
  take::add_confirmed_harmony(take, chords);
  if (hints.key) chords.key = hints.key;
  move_spans(chords.fixed, -begin_seconds);
  if (hints.chords) {
    reading.known_chords = hints.chords->in_time(proposals.grid);
    if (hints.chords->is_timed()) move_spans(reading.known_chords, -begin_seconds);
    // What is confirmed in the take stands over a chart.
    const auto stands_in_the_way = [&](const dsp::FixedChord& known) {
      return std::any_of(chords.fixed.begin(), chords.fixed.end(), [&](const auto& fixed) {
        return known.begin_seconds < fixed.end_seconds - 1e-3 &&
               known.end_seconds > fixed.begin_seconds + 1e-3;
      });
    };
    std::erase_if(reading.known_chords, stands_in_the_way);
    chords.fixed.insert(chords.fixed.end(), reading.known_chords.begin(),
                        reading.known_chords.end());
    std::sort(chords.fixed.begin(), chords.fixed.end(),
              [](const auto& a, const auto& b) { return a.begin_seconds < b.begin_seconds; });
  }
  proposals.harmony = dsp::decode_harmony(evidence, proposals.grid, proposals.notes, chords);
  const auto bars = dsp::chords_by_bar(proposals.grid, proposals.harmony.chords);
  if (const auto form = dsp::recognise_form(bars)) proposals.form = dsp::form_name(*form);

  move_in_time(proposals.grid, begin_seconds);
  move_in_time(proposals.notes, begin_seconds);
  move_spans(proposals.harmony.chords, begin_seconds);
  move_spans(reading.known_chords, begin_seconds);
  return reading;
}

}  // namespace lowstride::analysis
