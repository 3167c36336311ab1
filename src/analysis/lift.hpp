#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "src/analysis/reading.hpp"
#include "src/audio/analysis_audio.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"
#include "src/neck/neck.hpp"
#include "src/take/take.hpp"

namespace lowstride::analysis {

/// Whose hand will play, as far as it was said.
struct NeckChoice {
  std::optional<std::string> instrument;  // a named neck; else the voice's
  std::optional<std::string> tuning;      // open strings, see neck::with_tuning
  int capo = 0;

  [[nodiscard]] bool is_made() const noexcept { return instrument || tuning || capo != 0; }
};

/// The neck of a choice for a voice. Errors: those of neck::find_neck, with_tuning and check.
[[nodiscard]] Result<neck::Neck> chosen_neck(const NeckChoice& choice, take::Voice voice);

/// A take of a recording that lies (or will lie) at `take_path`, in which nothing is proposed yet.
[[nodiscard]] take::Take fresh_take(const audio::RecordingInfo& info,
                                    const std::filesystem::path& recording,
                                    const std::filesystem::path& take_path);

/// What listening to a recording, or a range of it, gives.
struct Heard {
  audio::RecordingInfo info;
  std::int64_t begin_sample = 0;  // of the range, in samples of the recording
  dsp::Evidence evidence;
  std::vector<std::string> remarks;  // losses, what was turned round
};

/// Listens, or takes the evidence that was kept from the last time. Errors: those of reading a
/// recording; cancelled.
[[nodiscard]] Result<Heard> hear(const std::filesystem::path& recording,
                                 const audio::AnalysisAudioOptions& range,
                                 const WorkControl& control);

struct LiftJob {
  std::filesystem::path recording;
  std::filesystem::path take;  // where to save; empty: beside the recording
  Hints hints;
  NeckChoice neck;                                 // else the take's, else the voice's
  std::optional<int> octave_shift;                 // else decided
  std::optional<double> from_seconds, to_seconds;  // else the whole recording
};

struct LiftReport {
  take::Take take;
  std::filesystem::path take_path;
  std::vector<std::string> remarks;  // what there is to say: losses, journal, what was turned round
  std::optional<double> rival_bpm;   // another tempo at which it may well be counted
};

/// From a recording to a saved take: listens, reads, merges the proposals into the take that is
/// there (keeping whatever is confirmed) or into a new one, fingers the line, saves. What the hints
/// say becomes confirmed. Nothing is written before all of it is known. Errors: those of reading a
/// recording and of opening and saving a take; cancelled.
[[nodiscard]] Result<LiftReport> lift(const LiftJob& job, const WorkControl& control);

}  // namespace lowstride::analysis
