// Random sequences of keys, clicks, drags and wheel turns: the take stays sound, and undo leads
// back to exactly what was there.
#include <random>

#include <gmock/gmock.h>

#include "src/take/validate.hpp"
#include "tests/gui/desk_stage.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::desk {
namespace {

using testing_help::DeskStage;

class Hand {
 public:
  Hand(DeskStage& stage, std::uint32_t seed) : stage_(stage), random_(seed) {}

  void act() {
    switch (number(0, 5)) {
      case 0:
      case 1:
        press(static_cast<Action>(number(0, static_cast<int>(action_count) - 1)));
        break;
      case 2:
        stage_.key(std::string(1, static_cast<char>('0' + number(0, 9))).c_str());
        break;
      case 3:
        stage_.click(place(), number(0, 9) == 0 ? 1 : 0);
        break;
      case 4:
        stage_.hold(false, number(0, 5) == 0, number(0, 3) == 0);
        stage_.drag(place(), place());
        stage_.hold(false, false, false);
        break;
      default:
        stage_.wheel(place(), static_cast<float>(number(-3, 3)));
        break;
    }
  }

 private:
  void press(Action action) {
    // Another version of the file is no step that undo leads back from.
    if (action == Action::version_before || action == Action::versions) return;
    stage_.key(key_text(info_of(action).key).c_str());
    // Behind a window of its own the desk takes no keys: mostly it is closed again.
    const bool opens_window = action == Action::open || action == Action::export_sheet ||
                              action == Action::drill || action == Action::help;
    if (opens_window && number(0, 4) > 0) stage_.key("Escape");
  }
  int number(int low, int high) { return std::uniform_int_distribution(low, high)(random_); }
  Point place() {
    // Half of the time a note, else anywhere.
    const auto& notes = stage_.desk().lanes().notes;
    if (!notes.empty() && number(0, 1) == 0) {
      const Rect& chip =
          notes[static_cast<std::size_t>(number(0, static_cast<int>(notes.size()) - 1))].chip;
      return {chip.x0 + static_cast<float>(number(-3, 20)), chip.middle_y()};
    }
    return {static_cast<float>(number(0, 1279)), static_cast<float>(number(60, 719))};
  }

  DeskStage& stage_;
  std::mt19937 random_;
};

TEST(GestureProperty, undo_leads_back_to_exactly_what_was_there) {
  std::size_t steps = 0;
  for (std::uint32_t seed = 1; seed <= 12; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    DeskStage stage;
    stage.open(take::testing_help::example_take());
    const take::Take first = stage.take();
    Hand hand(stage, seed);
    for (int i = 0; i < 60; ++i) {
      hand.act();
      ASSERT_TRUE(take::check_take(stage.take())) << "step " << i;
    }
    // Whatever dialog is open now.
    stage.key("Escape");
    stage.key("Escape");
    stage.settle();
    ASSERT_TRUE(stage.desk().session().has_take());
    steps += stage.desk().session().history()->done().size();
    while (!stage.desk().session().history()->done().empty()) {
      ASSERT_TRUE(stage.desk().session().undo());
      ASSERT_TRUE(take::check_take(stage.take()));
    }
    EXPECT_EQ(stage.take(), first);
  }
  EXPECT_GT(steps, 60U) << "the hand did too little to test anything";
}

}  // namespace
}  // namespace lowstride::desk
