#include <vector>

#include <gtest/gtest.h>

#include "src/take/edit.hpp"
#include "src/take/history.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::EditMaker;
using testing_help::example_take;

TEST(EditProperty, each_edit_is_undone_exactly_and_done_again_exactly) {
  int refused = 0;
  int done = 0;
  for (std::uint32_t seed = 1; seed <= 40; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    EditMaker maker(seed);
    Take take = example_take();
    ASSERT_TRUE(check_take(take)) << check_take(take).error().message;
    for (int i = 0; i < 60; ++i) {
      const Take before = take;
      const Edit edit = maker.make(take);
      SCOPED_TRACE(testing::Message() << "step " << i << ": " << describe(edit));
      auto undo = take::apply(take, edit);
      if (!undo) {
        ++refused;
        ASSERT_EQ(take, before) << "a refused edit changed the take";
        ASSERT_FALSE(undo.error().message.empty());
        // The rules refuse by themselves; the last net is for damaged journals.
        ASSERT_EQ(undo.error().message.find("makes no sense: "), std::string::npos)
            << undo.error().message;
        continue;
      }
      ++done;
      ASSERT_TRUE(check_take(take)) << check_take(take).error().message;
      const Take after = take;
      auto redo = take::apply(take, *undo);
      ASSERT_TRUE(redo) << redo.error().message;
      ASSERT_EQ(take, before);
      ASSERT_TRUE(take::apply(take, *redo));
      ASSERT_EQ(take, after);
      Take again = before;
      ASSERT_TRUE(take::apply(again, edit));
      ASSERT_EQ(again, after) << "the same edit gave two answers";
    }
  }
  EXPECT_GT(done, 1000);
  EXPECT_GT(refused, 100);
}

TEST(EditProperty, a_history_leads_back_to_the_beginning_and_forth_to_the_end) {
  for (std::uint32_t seed = 100; seed < 110; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    EditMaker maker(seed);
    Take take = example_take();
    History history;
    std::vector<Take> states{take};
    for (int i = 0; i < 50; ++i) {
      if (history.apply(take, maker.make(take))) states.push_back(take);
    }
    const std::size_t steps = states.size() - 1;
    ASSERT_EQ(history.done().size(), steps);
    for (std::size_t i = steps; i-- > 0;) {
      ASSERT_TRUE(history.undo(take));
      ASSERT_EQ(take, states[i]);
    }
    EXPECT_FALSE(history.undo(take));
    ASSERT_EQ(history.undone().size(), steps);
    for (std::size_t i = 1; i <= steps; ++i) {
      ASSERT_TRUE(history.redo(take));
      ASSERT_EQ(take, states[i]);
    }
    EXPECT_FALSE(history.redo(take));
  }
}

// What a person confirmed is the same, to the sample, after any analysis.
TEST(EditProperty, analysis_never_touches_what_is_confirmed) {
  int confirmed_count = 0;
  for (std::uint32_t seed = 200; seed < 230; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    EditMaker maker(seed);
    Take take = example_take();
    for (int i = 0; i < 60; ++i) {
      const Take before = take;
      const Edit edit = maker.make(take);
      if (!take::apply(take, edit)) continue;
      if (!std::holds_alternative<ReplaceProposals>(edit)) continue;
      const auto confirmed = [](const auto& entries) {
        auto kept = entries;
        std::erase_if(kept, [](const auto& entry) { return entry.state == State::proposed; });
        return kept;
      };
      ASSERT_EQ(confirmed(take.notes), confirmed(before.notes));
      ASSERT_EQ(confirmed(take.beats), confirmed(before.beats));
      ASSERT_EQ(confirmed(take.chords), confirmed(before.chords));
      ASSERT_EQ(take.gaps, before.gaps);
      ASSERT_EQ(take.passages, before.passages);
      ASSERT_EQ(take.title, before.title);
      if (before.tuning_state == State::confirmed) {
        ASSERT_EQ(take.a4_hz, before.a4_hz);
      }
      if (before.meter_state == State::confirmed) {
        ASSERT_EQ(take.beats_per_bar, before.beats_per_bar);
      }
      if (before.key && before.key->state == State::confirmed) {
        ASSERT_EQ(take.key, before.key);
      }
      confirmed_count += static_cast<int>(confirmed(before.notes).size());
      // The same analysis again says nothing new.
      const Take once = take;
      ASSERT_TRUE(take::apply(take, edit));
      ASSERT_EQ(take, once);
    }
  }
  EXPECT_GT(confirmed_count, 500);
}

}  // namespace
}  // namespace lowstride::take
