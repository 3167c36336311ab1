#pragma once

#include <optional>
#include <string_view>

#include "dsp/base/evidence.hpp"
#include "src/analysis/chord_chart.hpp"
#include "src/audio/analysis_audio.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"
#include "src/take/proposals.hpp"
#include "src/take/take.hpp"

namespace lowstride::analysis {

/// Goes into takes and cache keys: changes whenever the same recording may be read otherwise.
inline constexpr std::string_view analysis_version = "3";

/// Listens to a recording: what the signal says, frame by frame. Time 0 is the first sample of
/// `audio`. Memory: that of the evidence (40 MB an hour) and 30 MB, whatever the recording.
/// Stages reported: "Tuning", "Listening". Errors: unreadable, cancelled.
[[nodiscard]] Result<dsp::Evidence> listen(const audio::AnalysisAudio& audio,
                                           const WorkControl& control);

/// What the player said before anything was heard. Times in seconds of the recording.
struct Hints {
  std::optional<take::Voice> voice;
  std::optional<double> tempo_bpm;
  std::optional<int> beats_per_bar;
  std::optional<double> first_bar_seconds;
  std::optional<dsp::DecodedKey> key;
  std::optional<ChordChart> chords;
  std::optional<dsp::DecodedGrid> grid;  // beats that are decided already
};

struct Reading {
  take::Proposals proposals;
  std::vector<dsp::FixedChord> known_chords;  // of the chart, laid over the beats
};

/// What was recorded, by its sound: one guitar playing bass and chords, or a bass.
[[nodiscard]] inline take::Voice guessed_voice(const dsp::Evidence& evidence) noexcept {
  return evidence.guitar_share > 0.5 ? take::Voice::guitar : take::Voice::bass;
}

/// Decides what was played, from evidence, hints and whatever is confirmed in `take`.
/// `begin_seconds` is where the evidence begins in the recording; the proposals' times count from
/// the recording's start. A pure function of its arguments.
[[nodiscard]] Reading read_evidence(const dsp::Evidence& evidence, double begin_seconds,
                                    const take::Take& take, const Hints& hints);

}  // namespace lowstride::analysis
