#include "gui/model/session.hpp"

#include <algorithm>
#include <chrono>
#include <iterator>
#include <utility>

#include <fmt/format.h>

#include "src/analysis/follow_up.hpp"
#include "src/analysis/rereading.hpp"

namespace lowstride::desk {

namespace fs = std::filesystem;

namespace {

/// A recording longer than so many first parts is listened to in two goes.
constexpr double longest_in_parts = 4.0;

template <typename T>
bool is_ready(const std::future<T>& future) {
  return future.valid() && future.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
}

std::int64_t whole_samples(double seconds, const take::Take& take) {
  return static_cast<std::int64_t>(seconds * static_cast<double>(take.time_base_hz));
}

}  // namespace

Session::Session(double first_part_seconds) : first_part_seconds_(first_part_seconds) {}

Session::~Session() {
  finish_saving();
  cancel_work();
}

void Session::open(const fs::path& path) { open(path, std::nullopt); }

void Session::open(const fs::path& path, std::optional<fs::path> version) {
  finish_saving();
  cancel_work();
  // What still goes on for the take at hand is of no use to the next one.
  Unfinished former{std::move(opening_), std::move(lifting_), std::move(fetching_),
                    std::move(following_)};
  progress_ = std::make_shared<Progress>();
  // The file of a take that is opened anew is given back first.
  if (version || is_same_take(path)) let_go();
  changed();
  early_ = std::make_shared<detail::EarlyWaveform>();
  opening_ =
      std::async(std::launch::async, [path, version = std::move(version), early = early_,
                                      former = std::move(former), progress = progress_]() mutable {
        // The lock of a take that was being opened goes with it.
        former = {};
        return detail::open_in_background(path, version, *early, progress->control());
      });
}

bool Session::is_same_take(const fs::path& path) const {
  const fs::path take_path = detail::take_path_of(path);
  std::error_code error;
  return has_take() && (take_path == path_ || fs::equivalent(take_path, path_, error));
}

void Session::let_go() {
  file_.reset();
  is_read_only_ = false;
  shown_ = {};
  levels_.reset();
  evidence_.reset();
  recording_.clear();
  followed_edit_.reset();
  follow_base_.reset();
  recovered_count_ = 0;
}

bool Session::poll() {
  const std::uint64_t before = revision_;
  if (is_ready(saving_)) saved_ = saving_.get();
  // What is decided meanwhile waits for the file.
  if (saving_.valid()) return false;
  take_in_early();
  if (is_ready(opening_)) {
    auto opened = opening_.get();
    take_in_early();
    early_.reset();
    changed();
    if (!opened && opened.error().code != ErrorCode::cancelled) {
      messages_.push_back(opened.error().message);
    }
    if (opened) {
      begin(std::move(*opened));
    } else if (has_take()) {
      go_on();
    } else {
      let_go();
    }
  }
  if (is_ready(fetching_)) {
    if (auto evidence = fetching_.get()) {
      evidence_ = std::move(evidence);
      changed();
    }
  }
  if (is_ready(lifting_)) {
    auto lifted = lifting_.get();
    if (lifted) {
      take_in(std::move(*lifted));
    } else {
      messages_.push_back(lifted.error().code == ErrorCode::cancelled
                              ? "The analysis was stopped; what is there stays."
                              : lifted.error().message);
    }
  }
  if (is_ready(following_)) {
    auto edits = following_.get();
    if (edits) {
      take_in_follow_up(std::move(*edits));
    } else {
      followed_edit_.reset();
      follow_base_.reset();
      messages_.push_back(edits.error().message);
    }
  }
  return revision_ != before;
}

void Session::take_in_early() {
  if (!early_ || !early_->is_there.exchange(false)) return;
  let_go();
  levels_ = std::move(early_->levels);
  shown_.length_samples = early_->sample_count;
  shown_.time_base_hz = static_cast<std::int64_t>(early_->sample_rate_hz);
  changed();
}

void Session::begin(detail::Opened opened) {
  if (has_take()) let_go();
  ++opened_count_;
  path_ = std::move(opened.path);
  recording_ = std::move(opened.recording);
  file_ = std::move(opened.file);
  if (opened.read_only) {
    shown_ = std::move(*opened.read_only);
    is_read_only_ = true;
  }
  recovered_count_ = file_ ? file_->history().done().size() : 0;
  std::ranges::move(opened.messages, std::back_inserter(messages_));
  const bool is_wave_there = levels_ && levels_->levels().sample_count() == take().length_samples;
  if (!is_wave_there || recording_.empty()) levels_.reset();
  if (recording_.empty()) return;
  if (!levels_) levels_ = std::make_unique<LevelsReader>(recording_, take().length_samples);
  go_on();
}

/// What a take still lacks: it is listened to, or what was heard is fetched.
void Session::go_on() {
  if (followed_edit_ && !following_.valid()) start_follow_up();
  if (recording_.empty() || evidence_) return;
  if (file_ && take().analysis_version.empty()) {
    const double seconds =
        static_cast<double>(take().length_samples) / static_cast<double>(take().time_base_hz);
    start_lift(seconds > longest_in_parts * first_part_seconds_);
    return;
  }
  fetching_ = std::async(std::launch::async, [copy = take()] {
    auto kept = analysis::kept_evidence(copy);
    return kept ? std::make_shared<const dsp::Evidence>(std::move(*kept))
                : std::shared_ptr<const dsp::Evidence>();
  });
}

void Session::start_lift(bool is_first_part) {
  progress_ = std::make_shared<Progress>();
  detail::LiftOrder order{
      .take = take(),
      .recording = recording_,
      .evidence = evidence_,
      .part_samples = is_first_part ? whole_samples(first_part_seconds_, take()) : 0,
      .revision = revision_};
  lifting_ =
      std::async(std::launch::async, [order = std::move(order), progress = progress_]() mutable {
        return detail::lift_in_background(std::move(order), progress->control());
      });
}

void Session::take_in(detail::Lifted lifted) {
  if (lifted.is_first_part) {
    // What it says is shown while the whole is listened to; what else was done meanwhile stands.
    if (file_ && lifted.revision == revision_ &&
        file_->apply(take::Edit{std::move(lifted.edits)})) {
      changed();
    }
    return start_lift();
  }
  evidence_ = std::move(lifted.evidence);
  std::ranges::move(lifted.remarks, std::back_inserter(messages_));
  if (!file_) return;
  if (lifted.revision != revision_) {
    // The take was changed meanwhile: decided once more, from the evidence that is there now.
    start_lift();
    return;
  }
  if (const auto done = file_->apply(take::Edit{std::move(lifted.edits)}); !done) {
    messages_.push_back(done.error().message);
    return;
  }
  changed();
  messages_.push_back(fmt::format("{} notes, {} chords and {} beats are proposed.",
                                  take().notes.size(), take().chords.size(), take().beats.size()));
}

const take::Take& Session::take() const noexcept { return file_ ? file_->take() : shown_; }

const Digest& Session::digest(double doubt_threshold) {
  if (!digest_ || digest_revision_ != revision_ || digest_threshold_ != doubt_threshold) {
    digest_ = digest_of(take(), doubt_threshold);
    digest_revision_ = revision_;
    digest_threshold_ = doubt_threshold;
  }
  return *digest_;
}

Result<void> Session::apply(const take::Edit& edit) {
  finish_saving();
  if (!file_) {
    return fail(ErrorCode::conflict, has_take() ? "This take is shown only; save a copy to work on."
                                                : "Open a recording or a take first.");
  }
  auto before = std::make_shared<const take::Take>(take());
  if (auto done = file_->apply(edit); !done) return done;
  if (!follow_base_) follow_base_ = std::move(before);
  followed_edit_ = edit;
  changed();
  if (!following_.valid()) start_follow_up();
  return {};
}

void Session::start_follow_up() {
  follow_revision_ = revision_;
  following_ =
      std::async(std::launch::async, [before = follow_base_, after = take(), evidence = evidence_] {
        return analysis::follow_up(*before, after, evidence.get());
      });
}

void Session::take_in_follow_up(take::EditGroup edits) {
  if (!followed_edit_ || !file_) return;
  if (follow_revision_ != revision_) {
    start_follow_up();
    return;
  }
  take::EditGroup whole{.name = take::describe(*followed_edit_), .edits = {}};
  whole.edits.push_back(std::move(*followed_edit_));
  followed_edit_.reset();
  follow_base_.reset();
  if (edits.edits.empty()) return;
  std::ranges::move(edits.edits, std::back_inserter(whole.edits));
  // The edit is taken back and done again with what follows from it, as one step.
  const take::Edit alone = whole.edits.front();
  if (const auto undone = file_->undo(); !undone) {
    messages_.push_back(undone.error().message);
    return;
  }
  if (const auto done = file_->apply(take::Edit{std::move(whole)}); !done) {
    const auto again = file_->apply(alone);
    if (!again) messages_.push_back(again.error().message);
  }
  changed();
}

Result<std::optional<std::string>> Session::undo() {
  finish_saving();
  if (!file_) return std::optional<std::string>{};
  followed_edit_.reset();
  follow_base_.reset();
  auto name = file_->undo();
  changed();
  return name;
}

Result<std::optional<std::string>> Session::redo() {
  finish_saving();
  if (!file_) return std::optional<std::string>{};
  followed_edit_.reset();
  follow_base_.reset();
  auto name = file_->redo();
  changed();
  return name;
}

void Session::finish_saving() {
  if (saving_.valid()) saved_ = saving_.get();
}

void Session::start_saving() {
  if (!file_ || saving_.valid()) return;
  had_unsaved_edits_ = file_->has_unsaved_edits();
  saving_ = std::async(std::launch::async, [file = &*file_, path = path_] {
    return Saved{path, file->save()};
  });
}

void Session::start_saving_copy(const fs::path& path) {
  if (saving_.valid()) return;
  had_unsaved_edits_ = has_unsaved_edits();
  saving_ = std::async(std::launch::async, [copy = take(), path] {
    return Saved{path, take::save_copy(copy, path)};
  });
}

std::optional<Session::Saved> Session::saved() { return std::exchange(saved_, std::nullopt); }

Result<void> Session::save() {
  finish_saving();
  if (!file_) return fail(ErrorCode::conflict, "There is no take to save.");
  return file_->save();
}

const take::History* Session::history() const noexcept {
  return file_ ? &file_->history() : nullptr;
}

bool Session::has_unsaved_edits() const noexcept {
  if (saving_.valid()) return had_unsaved_edits_;
  return file_ && file_->has_unsaved_edits();
}

Result<void> Session::open_version(const fs::path& version) {
  finish_saving();
  if (!file_) return fail(ErrorCode::conflict, "There is no take open that could be changed.");
  if (has_unsaved_edits()) {
    return fail(ErrorCode::conflict, "Save first: the version changes places with what is saved.");
  }
  std::error_code error;
  if (!fs::exists(version, error)) {
    return fail(ErrorCode::not_found,
                fmt::format("There is no version before '{}' to go back to.", path_.string()));
  }
  const fs::path path = path_;
  open(path, version);
  return {};
}

Result<void> Session::open_version_before() { return open_version(take::previous_version(path_)); }

void Session::listen_again() {
  if (!file_ || recording_.empty()) {
    messages_.emplace_back("There is no recording to listen to.");
    return;
  }
  if (!lifting_.valid() && !opening_.valid()) start_lift();
}

void Session::cancel_work() {
  if (progress_) progress_->cancel();
}

std::optional<Session::Work> Session::work() {
  if (progress_ && (opening_.valid() || lifting_.valid())) {
    return Work{progress_->stage(), progress_->share()};
  }
  return std::nullopt;
}

void Session::wait() {
  const auto wait_for = [](const auto& future) {
    if (future.valid()) future.wait();
  };
  do {
    wait_for(saving_);
    wait_for(opening_);
    wait_for(fetching_);
    wait_for(lifting_);
    wait_for(following_);
    poll();
  } while (saving_.valid() || opening_.valid() || fetching_.valid() || lifting_.valid() ||
           following_.valid());
}

std::vector<std::string> Session::take_messages() { return std::exchange(messages_, {}); }

void Session::changed() { ++revision_; }

}  // namespace lowstride::desk
