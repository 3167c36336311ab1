#include <gmock/gmock.h>

#include "src/take/commands.hpp"
#include "src/take/edit.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

TEST(Remarks, stand_at_their_bar_or_follow_their_note) {
  Take take = testing_help::example_take();
  const Take before = take;
  const Note note = take.notes[3];
  ASSERT_TRUE(take::apply(take, AddRemark{.at_samples = 90'000, .text = "softer"}));
  const auto undo = take::apply(take, AddRemark{.note = note.id, .text = "keep the thumb planted"});
  ASSERT_TRUE(undo);
  ASSERT_EQ(take.remarks.size(), 2U);
  const auto about_note = [&take] {
    for (const Remark& remark : take.remarks) {
      if (remark.note) return remark;
    }
    return Remark{};
  };
  EXPECT_EQ(place_of(take, about_note()), note.onset_samples);
  ASSERT_TRUE(
      take::apply(take, ReplaceNote{.id = note.id, .onset_samples = note.onset_samples + 700}));
  EXPECT_EQ(place_of(take, about_note()), note.onset_samples + 700);
  // Without its note it stands where it was made.
  ASSERT_TRUE(take::apply(take, RemoveNote{note.id}));
  EXPECT_EQ(place_of(take, about_note()), note.onset_samples);
  EXPECT_TRUE(check_take(take));
  EXPECT_NE(take, before);
}

TEST(Remarks, are_changed_and_taken_away_and_every_step_is_undone_exactly) {
  Take take = testing_help::example_take();
  ASSERT_TRUE(take::apply(take, AddRemark{.at_samples = 90'000, .text = "softer"}));
  const RemarkId id = take.remarks.front().id;
  for (const Edit& edit : {Edit{ReplaceRemark{id, "much softer"}}, Edit{RemoveRemark{id}}}) {
    const Take before = take;
    const auto undo = take::apply(take, edit);
    ASSERT_TRUE(undo);
    EXPECT_NE(take, before);
    const auto redo = take::apply(take, *undo);
    ASSERT_TRUE(redo);
    EXPECT_EQ(take, before);
    ASSERT_TRUE(take::apply(take, *redo));
  }
  EXPECT_TRUE(take.remarks.empty());
}

TEST(Remarks, that_make_no_sense_are_refused) {
  Take take = testing_help::example_take();
  const Take before = take;
  EXPECT_FALSE(take::apply(take, AddRemark{.at_samples = 90'000, .text = ""}));
  EXPECT_FALSE(take::apply(take, AddRemark{.at_samples = -1, .text = "x"}));
  EXPECT_FALSE(take::apply(take, AddRemark{.at_samples = take.length_samples + 1, .text = "x"}));
  EXPECT_FALSE(take::apply(take, AddRemark{.note = NoteId{take.next_id}, .text = "x"}));
  EXPECT_FALSE(take::apply(take, AddRemark{.at_samples = 0, .text = "line\nbreak"}));
  EXPECT_FALSE(take::apply(take, ReplaceRemark{RemarkId{1}, "x"}));
  EXPECT_FALSE(take::apply(take, RemoveRemark{RemarkId{1}}));
  EXPECT_EQ(take, before);
}

TEST(Remarks, come_back_from_file_and_journal_and_files_without_them_open) {
  Take take = testing_help::example_take();
  EXPECT_EQ(take_to_json(take).find("remarks"), std::string::npos) << "nothing is written of none";
  EXPECT_TRUE(take_from_json(take_to_json(take), "old.take"));
  for (const Edit& edit : {Edit{AddRemark{.at_samples = 90'000, .text = "leise \"weich\""}},
                           Edit{AddRemark{.note = take.notes[1].id, .text = "thumb"}}}) {
    const auto read = edit_from_json(edit_to_json(edit));
    ASSERT_TRUE(read);
    EXPECT_EQ(*read, edit);
    const auto undo = take::apply(take, edit);
    ASSERT_TRUE(undo);
    const auto undo_read = edit_from_json(edit_to_json(*undo));
    ASSERT_TRUE(undo_read);
    EXPECT_EQ(*undo_read, *undo);
  }
  const auto read = take_from_json(take_to_json(take), "new.take");
  ASSERT_TRUE(read) << read.error().message;
  EXPECT_EQ(*read, take);
}

TEST(Remarks, are_typed_for_bars_and_notes) {
  Take take = testing_help::example_take();
  const auto edit = edit_from_options(take, {{"remark", "b2=softer = here"},
                                             {"remark", "b2:1=thumb"},
                                             {"remark", "b3=gone"},
                                             {"remove-remark", "b3"}});
  ASSERT_TRUE(edit) << edit.error().message;
  ASSERT_TRUE(take::apply(take, *edit));
  ASSERT_EQ(take.remarks.size(), 2U);
  EXPECT_THAT(take.remarks, testing::Contains(testing::Field(&Remark::text, "softer = here")));
  EXPECT_THAT(take.remarks, testing::Contains(testing::AllOf(
                                testing::Field(&Remark::text, "thumb"),
                                testing::Field(&Remark::note, testing::Ne(std::nullopt)))));
  EXPECT_FALSE(edit_from_options(take, {{"remark", "b2"}}));
  EXPECT_FALSE(edit_from_options(take, {{"remove-remark", "b5"}}));
}

TEST(PassageColour, is_chosen_kept_and_checked) {
  Take take = testing_help::example_take();
  take.passages.clear();
  ASSERT_TRUE(take::apply(take, AddPassage{"bridge", 0, 48'000}));
  const PassageId id = take.passages.front().id;
  EXPECT_FALSE(take.passages.front().colour);
  ASSERT_TRUE(take::apply(take, ReplacePassage{id, "bridge", 0, 48'000, 4}));
  // Another name leaves the colour as it is.
  ASSERT_TRUE(take::apply(take, ReplacePassage{id, "bridge 2", 0, 50'000}));
  EXPECT_EQ(take.passages.front().colour, 4);
  EXPECT_FALSE(take::apply(take, ReplacePassage{id, "bridge", 0, 48'000, 6}));
  const auto read = take_from_json(take_to_json(take), "new.take");
  ASSERT_TRUE(read);
  EXPECT_EQ(*read, take);
}

}  // namespace
}  // namespace lowstride::take
