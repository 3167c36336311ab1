#include "src/take/storage.hpp"

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <deque>
#include <utility>

#include <gtest/gtest.h>

#include "src/take/journal.hpp"
#include "src/take/take_json.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;
using testing_help::example_take;
using testing_help::FolderTest;

class Storage : public FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "line.take";
  }
  TakeFile created() {
    auto file = TakeFile::create(path_, example_take());
    EXPECT_TRUE(file) << file.error().message;
    return std::move(*file);
  }
  TakeFile opened() {
    auto file = TakeFile::open(path_);
    EXPECT_TRUE(file) << file.error().message;
    return std::move(*file);
  }
  /// Files as a killed process leaves them: written, not closed.
  template <typename Work>
  void in_killed_process(Work work) {
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      work();
      ::raise(SIGKILL);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    ASSERT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
  }

  fs::path path_;
};

/// Checks in a child process, where gtest's would go unnoticed.
void must(bool condition) {
  if (!condition) ::_exit(1);
}

// Test values of FNV-1a, 64 bits: RFC 9923 (draft-eastlake-fnv), appendix C; from memory.
TEST(TextHash, is_fnv_1a) {
  EXPECT_EQ(detail::text_hash(""), "cbf29ce484222325");
  EXPECT_EQ(detail::text_hash("a"), "af63dc4c8601ec8c");
  EXPECT_EQ(detail::text_hash("foobar"), "85944171f73967e8");
}

TEST_F(Storage, a_new_take_is_saved_and_leaves_one_file) {
  { const TakeFile file = created(); }
  EXPECT_EQ(names(), std::set<std::string>{"line.take"});
  const auto loaded = load_take(path_);
  ASSERT_TRUE(loaded) << loaded.error().message;
  EXPECT_EQ(loaded->take, example_take());
  EXPECT_TRUE(loaded->messages.empty());
  EXPECT_EQ(TakeFile::create(path_, example_take()).error().code, ErrorCode::conflict);
}

TEST_F(Storage, saving_keeps_the_version_before_and_empties_the_journal) {
  {
    TakeFile file = created();
    ASSERT_TRUE(file.apply(SetTitle{"Second"}));
    EXPECT_TRUE(file.has_unsaved_edits());
    EXPECT_EQ(load_take(path_)->take.title, "Second") << "a reader sees edits not saved yet";
    ASSERT_TRUE(file.save());
    EXPECT_FALSE(file.has_unsaved_edits());
    ASSERT_TRUE(file.save()) << "nothing to save is no error";
  }
  EXPECT_EQ(names(), (std::set<std::string>{"line.take", "line.take.bak"}));
  EXPECT_EQ(take_from_json(bytes_of(folder_ / "line.take.bak"), "bak")->title, "Harbour Steps");
  ASSERT_TRUE(swap_with_version(path_, previous_version(path_)));
  EXPECT_EQ(load_take(path_)->take.title, "Harbour Steps");
  ASSERT_TRUE(swap_with_version(path_, previous_version(path_)));
  EXPECT_EQ(load_take(path_)->take.title, "Second");
  EXPECT_EQ(names(), (std::set<std::string>{"line.take", "line.take.bak"}));
}

/// A take as a program that is killed leaves it: nobody closes it.
TakeFile& never_closed(Result<TakeFile> file) {
  must(file.has_value());
  static std::deque<TakeFile> open_ones;
  return open_ones.emplace_back(std::move(*file));
}

TEST_F(Storage, edits_outlive_a_kill_and_undo_goes_on) {
  Take expected;
  {
    Take take = example_take();
    ASSERT_TRUE(take::apply(take, SetTitle{"A"}));
    ASSERT_TRUE(take::apply(take, ReplaceNote{.id = take.notes[0].id, .midi = 44}));
    expected = take;
  }
  in_killed_process([&] {
    TakeFile& file = never_closed(TakeFile::create(path_, example_take()));
    must(file.apply(SetTitle{"A"}).has_value());
    must(file.apply(SetComposer{"taken back"}).has_value());
    must(file.undo().has_value());
    must(file.apply(ReplaceNote{.id = file.take().notes[0].id, .midi = 44}).has_value());
  });
  TakeFile file = opened();
  EXPECT_EQ(file.take(), expected);
  ASSERT_EQ(file.messages().size(), 1U);
  EXPECT_NE(file.messages()[0].find("4 edits"), std::string::npos) << file.messages()[0];
  EXPECT_NE(file.messages()[0].find("last second"), std::string::npos);
  EXPECT_EQ(*file.undo(), "Set pitch");
  EXPECT_EQ(file.take().notes[0].midi, 34);
  ASSERT_TRUE(file.redo());
  ASSERT_TRUE(file.save());
  EXPECT_EQ(load_take(path_)->take, expected);
}

TEST_F(Storage, a_torn_last_line_is_left_out_and_said) {
  in_killed_process([&] {
    TakeFile& file = never_closed(TakeFile::create(path_, example_take()));
    must(file.apply(SetTitle{"A"}).has_value());
    must(file.apply(SetTitle{"B"}).has_value());
  });
  const fs::path journal = folder_ / "line.take.journal";
  fs::resize_file(journal, fs::file_size(journal) - 5);
  {
    TakeFile file = opened();
    EXPECT_EQ(file.take().title, "A");
    ASSERT_EQ(file.messages().size(), 2U);
    EXPECT_NE(file.messages()[1].find("cut off"), std::string::npos);
    ASSERT_TRUE(file.apply(SetTitle{"C"}));
  }
  TakeFile file = opened();
  EXPECT_EQ(file.take().title, "C");
  EXPECT_EQ(file.history().done().size(), 2U);
}

// Closed in order with edits that were not saved, there is nothing to be afraid of.
TEST_F(Storage, edits_of_a_take_that_was_closed_are_taken_up_without_alarm) {
  const auto message = [this] {
    TakeFile file = opened();
    EXPECT_EQ(file.messages().size(), 1U);
    return file.messages().empty() ? "" : file.messages()[0];
  };
  {
    auto file = TakeFile::create(path_, example_take());
    ASSERT_TRUE(file->apply(SetTitle{"A"}));
  }
  EXPECT_NE(message().find("1 edit that had not been saved"), std::string::npos);
  EXPECT_EQ(message().find("power"), std::string::npos) << "after looking at it, too";
  {
    TakeFile file = opened();
    ASSERT_TRUE(file.apply(SetTitle{"B"}));
  }
  EXPECT_EQ(message().find("power"), std::string::npos);
  in_killed_process([&] { static_cast<void>(never_closed(TakeFile::open(path_))); });
  EXPECT_NE(message().find("power"), std::string::npos) << "somebody was at work and did not end";
  EXPECT_EQ(load_take(path_)->take.title, "B");
}

TEST_F(Storage, a_damaged_line_keeps_the_journal_aside) {
  in_killed_process([&] {
    auto file = TakeFile::create(path_, example_take());
    for (const char* title : {"A", "B", "C"}) must(file->apply(SetTitle{title}).has_value());
  });
  const fs::path journal = folder_ / "line.take.journal";
  std::string bytes = bytes_of(journal);
  bytes[bytes.find("\"B\"") + 1] = 'X';  // still JSON, but not what was written
  write_bytes(journal, bytes);
  EXPECT_EQ(load_take(path_)->take.title, "A");
  TakeFile file = opened();
  EXPECT_EQ(file.take().title, "A");
  ASSERT_EQ(file.messages().size(), 2U);
  EXPECT_NE(file.messages()[1].find("line.take.journal.damaged"), std::string::npos);
  EXPECT_EQ(bytes_of(folder_ / "line.take.journal.damaged"), bytes);
}

TEST_F(Storage, a_kill_between_saving_and_emptying_the_journal_applies_nothing_twice) {
  std::string journal_bytes;
  {
    TakeFile file = created();
    ASSERT_TRUE(file.apply(AddNote{900'000, 950'000, 40, false}));
    ASSERT_TRUE(file.sync());
    journal_bytes = bytes_of(folder_ / "line.take.journal");
    ASSERT_TRUE(file.save());
  }
  const std::string saved = bytes_of(path_);
  write_bytes(folder_ / "line.take.journal",
              journal_bytes + "{\"saved\": \"" + detail::text_hash(saved) + "\"}\n");
  const TakeFile file = opened();
  EXPECT_EQ(file.take().notes.size(), 33U);
  ASSERT_EQ(file.messages().size(), 1U);
  EXPECT_NE(file.messages()[0].find("no edit that had not been saved"), std::string::npos);
  EXPECT_NE(file.messages()[0].find("last second"), std::string::npos);
  EXPECT_FALSE(file.has_unsaved_edits());
}

TEST_F(Storage, edits_of_another_version_are_kept_aside_not_applied) {
  in_killed_process([&] {
    auto file = TakeFile::create(path_, example_take());
    must(file->apply(SetTitle{"A"}).has_value());
  });
  const std::string journal_bytes = bytes_of(folder_ / "line.take.journal");
  Take other = example_take();
  other.title = "By hand";
  write_bytes(path_, take_to_json(other));
  EXPECT_EQ(load_take(path_)->take.title, "By hand");
  const TakeFile file = opened();
  EXPECT_EQ(file.take().title, "By hand");
  ASSERT_EQ(file.messages().size(), 1U);
  EXPECT_NE(file.messages()[0].find("line.take.journal.old"), std::string::npos);
  EXPECT_EQ(bytes_of(folder_ / "line.take.journal.old"), journal_bytes);
}

TEST_F(Storage, a_second_writer_is_refused_and_a_reader_is_not) {
  TakeFile file = created();
  const auto second = TakeFile::open(path_);
  ASSERT_FALSE(second);
  EXPECT_EQ(second.error().code, ErrorCode::conflict);
  EXPECT_NE(second.error().message.find("open in another"), std::string::npos);
  EXPECT_TRUE(load_take(path_));
  ASSERT_TRUE(file.apply(SetTitle{"Mine"}));
  EXPECT_EQ(save_copy(example_take(), path_).error().code, ErrorCode::conflict);
  EXPECT_EQ(swap_with_version(path_, previous_version(path_)).error().code, ErrorCode::not_found);
}

TEST_F(Storage, a_file_changed_behind_our_back_is_not_replaced) {
  TakeFile file = created();
  ASSERT_TRUE(file.apply(SetTitle{"Mine"}));
  Take other = example_take();
  other.title = "Theirs";
  write_bytes(path_, take_to_json(other));
  const auto outcome = file.save();
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().code, ErrorCode::conflict);
  EXPECT_EQ(take_from_json(bytes_of(path_), "x")->title, "Theirs");
  ASSERT_TRUE(save_copy(file.take(), folder_ / "copy.take"));
  EXPECT_EQ(load_take(folder_ / "copy.take")->take.title, "Mine");
  // The same bytes written again are no change.
  write_bytes(path_, take_to_json(example_take()));
  EXPECT_TRUE(file.save());
}

TEST_F(Storage, a_take_of_another_recording_is_never_replaced) {
  { const TakeFile file = created(); }
  const std::string before = bytes_of(path_);
  Take other = example_take();
  other.recording->content_hash = "ffff";
  other.recording->path = "other.wav";
  const auto outcome = TakeFile::open_or_create(path_, other);
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().code, ErrorCode::conflict);
  EXPECT_NE(outcome.error().message.find("harbour-steps.flac"), std::string::npos);
  EXPECT_NE(outcome.error().message.find("other.wav"), std::string::npos);
  EXPECT_NE(outcome.error().message.find("-o"), std::string::npos);
  EXPECT_EQ(save_copy(other, path_).error().code, ErrorCode::conflict);
  EXPECT_EQ(bytes_of(path_), before);
  EXPECT_EQ(names(), std::set<std::string>{"line.take"});
  // The same recording under another name is known again.
  Take moved = example_take();
  moved.recording->path = "moved/harbour.flac";
  const auto file = TakeFile::open_or_create(path_, moved);
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_EQ(file->take().recording->path, "moved/harbour.flac");
}

TEST_F(Storage, a_newer_version_is_refused_and_left_as_it_is) {
  std::string bytes = take_to_json(example_take());
  bytes.replace(bytes.find("\"version\": 1"), 12, "\"version\": 9");
  write_bytes(path_, bytes);
  write_bytes(folder_ / "line.take.bak", take_to_json(example_take()));
  EXPECT_EQ(load_take(path_).error().code, ErrorCode::unsupported);
  EXPECT_EQ(TakeFile::open(path_).error().code, ErrorCode::unsupported);
  EXPECT_EQ(TakeFile::open_or_create(path_, example_take()).error().code, ErrorCode::unsupported);
  EXPECT_FALSE(save_copy(example_take(), path_));
  EXPECT_EQ(bytes_of(path_), bytes);
  EXPECT_EQ(names(), (std::set<std::string>{"line.take", "line.take.bak"}));
}

TEST_F(Storage, a_damaged_take_is_answered_from_the_version_before_and_kept) {
  {
    TakeFile file = created();
    ASSERT_TRUE(file.apply(SetTitle{"Second"}));
    ASSERT_TRUE(file.save());
  }
  const std::string damaged = bytes_of(path_).substr(0, 700);
  write_bytes(path_, damaged);
  EXPECT_EQ(load_take(path_)->messages.size(), 1U);
  {
    TakeFile file = opened();
    EXPECT_EQ(file.take().title, "Harbour Steps");
    ASSERT_EQ(file.messages().size(), 1U);
    EXPECT_NE(file.messages()[0].find("line.take.bak"), std::string::npos);
    ASSERT_TRUE(file.apply(SetTitle{"Third"}));
    EXPECT_EQ(bytes_of(path_), damaged) << "nothing is written before it is saved";
    ASSERT_TRUE(file.save());
  }
  EXPECT_EQ(bytes_of(folder_ / "line.take.damaged"), damaged);
  EXPECT_EQ(load_take(path_)->take.title, "Third");
}

TEST_F(Storage, a_read_only_folder_is_refused_with_the_cure) {
  if (::geteuid() == 0) {
    // The superuser writes everywhere; another user is tried in a child process.
    { const TakeFile file = created(); }
    fs::permissions(folder_, fs::perms(0555));
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      must(::setuid(65534) == 0);
      must(load_take(path_).has_value());
      const auto outcome = TakeFile::open(path_);
      must(!outcome && outcome.error().code == ErrorCode::cannot_write);
      must(outcome.error().message.find("choose a folder") != std::string::npos);
      must(!save_copy(example_take(), folder_ / "copy.take"));
      ::_exit(0);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    EXPECT_EQ(status, 0);
  } else {
    { const TakeFile file = created(); }
    fs::permissions(folder_, fs::perms(0555));
    EXPECT_TRUE(load_take(path_));
    const auto outcome = TakeFile::open(path_);
    ASSERT_FALSE(outcome);
    EXPECT_EQ(outcome.error().code, ErrorCode::cannot_write);
    EXPECT_NE(outcome.error().message.find("choose a folder"), std::string::npos);
  }
}

// A full disk, for real, by a limit on file sizes in a child process.
TEST_F(Storage, a_full_disk_refuses_the_edit_and_loses_nothing) {
  { const TakeFile file = created(); }
  const std::string before = bytes_of(path_);
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{2000, 2000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    auto file = TakeFile::open(path_);
    must(file.has_value());
    int done = 0;
    while (file->apply(SetTitle{"title " + std::to_string(done)})) must(++done < 1000);
    must(done > 3);
    must(file->take().title == "title " + std::to_string(done - 1));
    const auto refused = file->apply(SetTitle{"no room"});
    must(!refused && refused.error().code == ErrorCode::cannot_write);
    must(refused.error().message.find("free some space") != std::string::npos);
    must(!file->undo());
    must(!file->save());  // the take is larger than the limit
    must(file->has_unsaved_edits());
    ::_exit(done);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFEXITED(status));
  const int done = WEXITSTATUS(status);
  ASSERT_GT(done, 3);
  EXPECT_EQ(bytes_of(path_), before);
  const TakeFile file = opened();
  EXPECT_EQ(file.take().title, "title " + std::to_string(done - 1));
  EXPECT_EQ(file.messages().size(), 1U) << "the line for which there was no room is not there";
  EXPECT_EQ(names(), (std::set<std::string>{"line.take", "line.take.journal"}));
}

TEST_F(Storage, the_recording_is_found_beside_the_take_or_named) {
  Take take = example_take();
  take.recording->path = "sounds/harbour-steps.flac";
  const ContentHash hash = [](const fs::path& path) -> Result<std::string> {
    std::ifstream stream(path);
    std::string word;
    stream >> word;
    return word;
  };
  const auto missing = find_recording(take, path_, hash);
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().code, ErrorCode::not_found);
  EXPECT_NE(missing.error().message.find("sounds/harbour-steps.flac"), std::string::npos);
  write_bytes(folder_ / "harbour-steps.flac", "other");
  EXPECT_EQ(find_recording(take, path_, hash).error().code, ErrorCode::conflict);
  write_bytes(folder_ / "harbour-steps.flac", "0f1e2d");
  EXPECT_EQ(*find_recording(take, path_, hash), folder_ / "harbour-steps.flac");
  fs::create_directory(folder_ / "sounds");
  write_bytes(folder_ / "sounds" / "harbour-steps.flac", "0f1e2d");
  EXPECT_EQ(*find_recording(take, path_, hash), folder_ / "sounds" / "harbour-steps.flac");
  // A path that leads out of the folder is followed only when it may be.
  fs::create_directory(folder_ / "takes");
  take.recording->path = "../harbour-steps.flac";
  const auto outside = find_recording(take, folder_ / "takes" / "a.take", hash);
  ASSERT_TRUE(outside);
  EXPECT_NE(outside_note(*outside, folder_ / "takes" / "a.take").find("outside its folder"),
            std::string::npos);
  EXPECT_EQ(outside_note(folder_ / "sounds" / "harbour-steps.flac", path_), "");
  fs::create_symlink(folder_ / "harbour-steps.flac", folder_ / "takes" / "linked.flac");
  EXPECT_NE(outside_note(folder_ / "takes" / "linked.flac", folder_ / "takes" / "a.take"), "");
  EXPECT_FALSE(find_recording(take, folder_ / "takes" / "a.take", hash, false));
  EXPECT_EQ(recording_path_for(folder_ / "harbour-steps.flac", folder_ / "takes" / "a.take"),
            "../harbour-steps.flac");
  EXPECT_EQ(recording_path_for(folder_ / "harbour-steps.flac", path_), "harbour-steps.flac");
  take.recording.reset();
  EXPECT_EQ(find_recording(take, path_, hash).error().code, ErrorCode::not_found);
}

TEST_F(Storage, a_take_is_named_after_its_recording) {
  EXPECT_EQ(take_path_for("dir/Blues in F.take3.mp3"), fs::path("dir/Blues in F.take3.take"));
}

TEST_F(Storage, what_is_not_there_or_no_take_is_said) {
  EXPECT_EQ(load_take(path_).error().code, ErrorCode::not_found);
  EXPECT_EQ(TakeFile::open(path_).error().code, ErrorCode::not_found);
  EXPECT_EQ(TakeFile::open(folder_).error().code, ErrorCode::unreadable);
  EXPECT_EQ(TakeFile::create(folder_ / "none" / "a.take", example_take()).error().code,
            ErrorCode::cannot_write);
  write_bytes(path_, "RIFF....WAVEfmt ");
  EXPECT_EQ(TakeFile::open(path_).error().code, ErrorCode::damaged);
  EXPECT_EQ(names(), std::set<std::string>{"line.take"});
}

}  // namespace
}  // namespace lowstride::take
