#include "gui/model/background.hpp"

#include <algorithm>
#include <iterator>
#include <utility>

#include "src/analysis/fingering_edit.hpp"
#include "src/analysis/lift.hpp"
#include "src/analysis/reading.hpp"
#include "src/audio/recording.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::desk {

namespace fs = std::filesystem;

namespace {

bool is_take_path(const fs::path& path) { return path.extension() == ".take"; }

/// Whether a person chose another neck than a lift gives by itself.
bool has_chosen_neck(const take::Take& take) {
  if (take.neck == neck::Neck{}) return false;
  const auto usual = analysis::chosen_neck({}, take.voice);
  return usual && take.neck != *usual;
}

/// Everything that an analysis proposes for the start of a take, with a neck for a new one
/// and the fingering.
Result<take::EditGroup> proposals_group(const take::Take& take, const dsp::Evidence& evidence,
                                        std::int64_t end_samples) {
  analysis::Hints hints;
  if (!take.analysis_version.empty()) hints.voice = take.voice;
  const analysis::Reading reading = analysis::read_evidence(evidence, 0.0, take, hints);
  take::EditGroup group{.name = "Lift", .edits = {}};
  take::Take after = take;
  const auto add = [&](take::Edit edit) -> Result<void> {
    const auto done = take::apply(after, edit);
    if (!done) return tl::unexpected(done.error());
    group.edits.push_back(std::move(edit));
    return {};
  };
  const bool is_whole = end_samples == take.length_samples;
  take::Edit proposed = take::proposals_edit(take, reading.proposals, 0, end_samples);
  if (auto* replace = std::get_if<take::ReplaceProposals>(&proposed); replace && !is_whole) {
    // Opened again before the rest was listened to, it is still a take to listen to.
    replace->analysis_version.reset();
  }
  const bool is_neck_chosen = has_chosen_neck(take);
  auto done = add(std::move(proposed));
  if (done && take.analysis_version.empty() && !is_neck_chosen) {
    const auto neck = analysis::chosen_neck({}, after.voice);
    if (!neck) return tl::unexpected(neck.error());
    done = add(take::SetNeck{.neck = *neck, .octave_shift = after.octave_shift});
  }
  if (!done) return tl::unexpected(done.error());
  auto fingering = analysis::fingering_edit(after, std::nullopt);
  if (!fingering) return tl::unexpected(fingering.error());
  group.edits.push_back(std::move(*fingering));
  return group;
}

}  // namespace

WorkControl Progress::control() {
  WorkControl control;
  control.cancel = &is_cancelled_;
  control.on_progress = [this](std::string_view stage, double share) {
    share_.store(share);
    const std::lock_guard lock(mutex_);
    stage_.assign(stage);
  };
  return control;
}

const std::string& Progress::stage() {
  if (const std::unique_lock lock(mutex_, std::try_to_lock); lock) last_stage_ = stage_;
  return last_stage_;
}

namespace detail {

fs::path take_path_of(const fs::path& path) {
  return is_take_path(path) ? path : take::take_path_for(path);
}

Result<Opened> open_in_background(const fs::path& path, const std::optional<fs::path>& version,
                                  EarlyWaveform& early, const WorkControl& control) {
  control.report("Opening", 0.0);
  Opened opened;
  if (version) {
    if (const auto swapped = take::swap_with_version(path, *version); !swapped) {
      opened.messages.push_back(swapped.error().message);
    }
  }
  const auto from = [&opened](Result<take::TakeFile> file) -> Result<void> {
    if (file) {
      opened.file = std::move(*file);
      std::ranges::copy(opened.file->messages(), std::back_inserter(opened.messages));
      return {};
    }
    // Somebody else works on it, or the folder is read-only: it can be looked at.
    if (file.error().code != ErrorCode::conflict && file.error().code != ErrorCode::cannot_write) {
      return tl::unexpected(file.error());
    }
    auto loaded = take::load_take(opened.path);
    if (!loaded) return tl::unexpected(file.error());
    opened.read_only = std::move(loaded->take);
    opened.messages.push_back(file.error().message + " It is shown and cannot be changed here.");
    std::ranges::move(loaded->messages, std::back_inserter(opened.messages));
    return {};
  };
  if (is_take_path(path)) {
    opened.path = path;
    if (const auto done = from(take::TakeFile::open(path)); !done) {
      return tl::unexpected(done.error());
    }
    const take::Take& take = opened.file ? opened.file->take() : *opened.read_only;
    if (take.recording) {
      const auto found = take::find_recording(take, path, [&control](const fs::path& file) {
        return audio::content_hash_of(file, control);
      });
      if (found) {
        opened.recording = *found;
        std::string note = take::outside_note(*found, path);
        if (!note.empty()) opened.messages.push_back(std::move(note));
      } else {
        opened.messages.push_back(found.error().message +
                                  " Without it only the line as written can be heard.");
      }
    }
    return opened;
  }
  // Its waveform does not wait for the file to be read through for its content hash.
  const auto glance = audio::glance_at_recording(path);
  if (glance && glance->expected_sample_count.value_or(0) > 0) {
    early.sample_count = *glance->expected_sample_count;
    early.sample_rate_hz = glance->sample_rate_hz;
    early.levels = std::make_unique<LevelsReader>(path, early.sample_count);
    early.is_there.store(true);
  }
  const auto reader = audio::open_recording(path, {}, control);
  if (!reader) return tl::unexpected(reader.error());
  const audio::RecordingInfo& info = (*reader)->info();
  opened.path = take_path_of(path);
  opened.recording = path;
  auto done = from(
      take::TakeFile::open_or_create(opened.path, analysis::fresh_take(info, path, opened.path)));
  if (!done) return tl::unexpected(done.error());
  if (!info.lost_note.empty()) opened.messages.push_back(info.lost_note);
  return opened;
}

Result<Lifted> lift_in_background(LiftOrder order, const WorkControl& control) {
  Lifted lifted;
  lifted.is_first_part = order.part_samples > 0;
  lifted.revision = order.revision;
  lifted.evidence = std::move(order.evidence);
  if (!lifted.evidence) {
    audio::AnalysisAudioOptions range;
    if (lifted.is_first_part) range.end_sample = order.part_samples;
    auto heard = analysis::hear(order.recording, range, control);
    if (!heard) return tl::unexpected(heard.error());
    lifted.remarks = std::move(heard->remarks);
    lifted.evidence = std::make_shared<const dsp::Evidence>(std::move(heard->evidence));
  }
  control.report("Reading", 0.92);
  auto edits =
      proposals_group(order.take, *lifted.evidence,
                      lifted.is_first_part ? order.part_samples : order.take.length_samples);
  if (!edits) return tl::unexpected(edits.error());
  if (control.is_cancelled()) return fail(ErrorCode::cancelled, "");
  lifted.edits = std::move(*edits);
  return lifted;
}

}  // namespace detail

}  // namespace lowstride::desk
