#include <gtest/gtest.h>

#include "src/take/edit.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;

Stab stab_at(std::int64_t onset, std::int64_t length = beat_samples / 2) {
  return {onset, onset + length, {{3, 5, 1}, {2, 7, 3}, {1, 0, 0}}, {}};
}

TEST(Stabs, take_the_place_of_those_in_their_stretch) {
  Take take = example_take();
  ASSERT_TRUE(take::apply(take, SetStabs{0, 100'000, {stab_at(0), stab_at(50'000)}}));
  ASSERT_TRUE(take::apply(take, SetStabs{100'000, 200'000, {stab_at(150'000)}}));
  const Take before = take;
  const auto undo = take::apply(take, SetStabs{40'000, 150'000, {stab_at(130'000)}});
  ASSERT_TRUE(undo);
  ASSERT_EQ(take.stabs.size(), 3U);
  EXPECT_EQ(take.stabs[1].onset_samples, 130'000);
  EXPECT_EQ(take.stabs[2].onset_samples, 150'000);
  ASSERT_TRUE(take::apply(take, *undo));
  EXPECT_EQ(take, before);
}

TEST(Stabs, one_before_the_stretch_is_cut_and_one_after_it_is_never_rung_into) {
  Take take = example_take();
  ASSERT_TRUE(take::apply(take, SetStabs{0, 200'000, {stab_at(0, 60'000), stab_at(150'000)}}));
  ASSERT_TRUE(take::apply(take, SetStabs{50'000, 150'000, {stab_at(50'000)}}));
  EXPECT_EQ(take.stabs[0].offset_samples, 50'000);
  const Take before = take;
  EXPECT_FALSE(take::apply(take, SetStabs{50'000, 150'000, {stab_at(100'000, 60'000)}}));
  EXPECT_EQ(take, before);
}

TEST(Stabs, off_the_neck_or_out_of_order_are_refused) {
  Take take = example_take();
  const auto refused = [&take](std::vector<neck::Position> positions) {
    Stab stab = stab_at(0);
    stab.positions = std::move(positions);
    return !take::apply(take, SetStabs{0, 100'000, {stab}});
  };
  EXPECT_TRUE(refused({}));
  EXPECT_TRUE(refused({{5, 1, 1}}));             // a string that is not there
  EXPECT_TRUE(refused({{1, 21, 1}}));            // behind the last fret
  EXPECT_TRUE(refused({{1, 0, 1}}));             // a finger on an open string
  EXPECT_TRUE(refused({{1, 3, 0}}));             // a fret without a finger
  EXPECT_TRUE(refused({{2, 3, 1}, {2, 5, 3}}));  // two places on one string
  EXPECT_TRUE(refused({{1, 3, 1}, {2, 3, 1}}));  // not from the lowest string up
  EXPECT_FALSE(refused({{2, 3, 1}, {1, 3, 1}}));
  EXPECT_FALSE(take::apply(take, SetStabs{0, 100'000, {stab_at(50'000), stab_at(40'000)}}));
  EXPECT_FALSE(take::apply(take, SetStabs{0, 100'000, {stab_at(100'000)}}));
}

TEST(Stabs, go_with_the_strings_that_they_were_made_for) {
  Take take = example_take();
  ASSERT_TRUE(take::apply(take, SetStabs{0, 100'000, {stab_at(0)}}));
  SetNeck other{take.neck, 1};
  other.neck.fret_count = 24;
  ASSERT_TRUE(take::apply(take, other));
  EXPECT_EQ(take.stabs.size(), 1U);
  const Take before = take;
  other.neck.capo = 2;
  const auto undo = take::apply(take, other);
  ASSERT_TRUE(undo);
  EXPECT_TRUE(take.stabs.empty());
  ASSERT_TRUE(take::apply(take, *undo));
  EXPECT_EQ(take, before);
}

TEST(Stabs, are_in_the_file_with_what_another_version_says_of_them) {
  Take take = example_take();
  EXPECT_EQ(take_to_json(take).find("stabs"), std::string::npos) << "nothing is written of none";
  Stab stab = stab_at(0);
  stab.unknown_fields_json = "{\"strum\": \"up\"}";
  ASSERT_TRUE(take::apply(take, SetStabs{0, 100'000, {stab, stab_at(50'000)}}));
  const std::string text = take_to_json(take);
  const auto again = take_from_json(text, "example.take");
  ASSERT_TRUE(again) << again.error().message;
  EXPECT_EQ(*again, take);
  std::string off_neck = text;
  off_neck.replace(off_neck.find("\"string\": 3, \"fret\": 5"), 22, "\"string\": 9, \"fret\": 5");
  const auto damaged = take_from_json(off_neck, "example.take");
  ASSERT_FALSE(damaged);
  EXPECT_NE(damaged.error().message.find("Stab 1"), std::string::npos) << damaged.error().message;
}

}  // namespace
}  // namespace lowstride::take
