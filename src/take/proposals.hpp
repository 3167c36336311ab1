#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "dsp/pitch/note_decoder.hpp"
#include "dsp/rhythm/beat_decoder.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

/// Everything that one analysis proposes. Times are seconds from the start of the recording.
struct Proposals {
  std::vector<dsp::DecodedNote> notes = {};
  dsp::DecodedGrid grid = {};  // beats, meter, swing
  dsp::DecodedHarmony harmony = {};
  std::optional<double> a4_hz = {};
  std::string form = {};  // empty when none was recognised
  std::optional<Voice> voice = {};
  std::string analysis_version = {};
};

/// A take of a recording in which nothing is proposed yet. `title` is a first guess; empty is fine.
[[nodiscard]] Take new_take(RecordingRef recording, std::int64_t rate_hz, const std::string& title);

/// The edit that merges `proposals` into the take: inside [begin, end) they replace what was
/// proposed and not confirmed (rules at ReplaceProposals). Over the whole take, or in a take that
/// was never analysed, tuning, meter, key, swing, form, voice and analysis version are set too,
/// each unless a person set it. Merging the same proposals twice gives the same take.
/// Probabilities are rounded to 1/10,000, which keeps files small.
[[nodiscard]] Edit proposals_edit(const Take& take, const Proposals& proposals,
                                  std::int64_t begin_samples, std::int64_t end_samples);

/// What a person decided, as the note decoder wants it: confirmed notes and gaps, in order of time.
[[nodiscard]] std::vector<dsp::DecidedSpan> decided_spans(const Take& take);

/// Adds confirmed beats, a confirmed first bar and a confirmed meter to what the beat decoder is
/// told; a first bar or meter that is set already stays (3 or 4 beats in a bar are all it knows).
void add_confirmed_grid(const Take& take, dsp::BeatDecoderOptions& options);

/// Adds confirmed chords, and a confirmed key unless one is set already.
void add_confirmed_harmony(const Take& take, dsp::ChordDecoderOptions& options);

/// Whole samples at `time_base_hz`, rounded, and back.
[[nodiscard]] std::int64_t to_samples(double seconds, std::int64_t time_base_hz) noexcept;
[[nodiscard]] double to_seconds(std::int64_t samples, std::int64_t time_base_hz) noexcept;

}  // namespace lowstride::take
