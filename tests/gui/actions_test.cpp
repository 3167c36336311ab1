#include "gui/model/actions.hpp"

#include <fstream>
#include <set>

#include <gmock/gmock.h>

#include "gui/model/settings.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::desk {
namespace {

TEST(Actions, every_action_has_a_key_and_a_name_of_its_own) {
  std::set<std::string_view> ids;
  std::set<std::string_view> names;
  for (const ActionInfo& info : all_actions()) {
    EXPECT_NE(info.key.key, 0) << info.id << " cannot be reached by keyboard";
    EXPECT_TRUE(ids.insert(info.id).second) << info.id;
    EXPECT_TRUE(names.insert(info.name).second) << info.name;
  }
}

TEST(Actions, no_key_does_two_things_at_first) {
  const KeyMap map;
  for (const KeyConflict& conflict : map.conflicts()) {
    ADD_FAILURE() << key_text(conflict.key) << ": " << info_of(conflict.first).id << " and "
                  << info_of(conflict.second).id;
  }
}

TEST(Actions, a_conflict_is_reported_with_both_actions) {
  KeyMap map;
  map.set(Action::split, map.key_of(Action::join));
  ASSERT_EQ(map.conflicts().size(), 1U);
  EXPECT_EQ(map.conflicts().front().first, Action::split);
  EXPECT_EQ(map.conflicts().front().second, Action::join);
}

TEST(Actions, keys_are_written_and_read_again) {
  for (const ActionInfo& info : all_actions()) {
    const auto read = parse_key_chord(key_text(info.key));
    ASSERT_TRUE(read) << key_text(info.key);
    EXPECT_EQ(*read, info.key);
  }
  EXPECT_EQ(key_text({'+', true, true, false}), "Ctrl+Shift++");
  EXPECT_EQ(*parse_key_chord("Ctrl+Shift++"), (KeyChord{'+', true, true, false}));
  EXPECT_FALSE(parse_key_chord("Hyper+X"));
  EXPECT_FALSE(parse_key_chord("F13"));
}

class SettingsFile : public take::testing_help::FolderTest {};

TEST_F(SettingsFile, come_back_from_the_file_as_they_were) {
  const auto path = folder_ / "deep" / "desk.json";
  Settings settings;
  settings.is_dark = false;
  settings.text_scale = 1.3;
  settings.keys.set(Action::confirm, {'Y', false, false, true});
  settings.lanes[3].height = 200.0F;
  settings.lanes[5].is_folded = false;
  remember(settings, "/music/one.take");
  remember(settings, "/music/two.ogg");
  ASSERT_TRUE(save_settings(settings, path));
  const LoadedSettings loaded = load_settings(path);
  EXPECT_EQ(loaded.settings, settings);
  EXPECT_TRUE(loaded.remarks.empty());
}

TEST_F(SettingsFile, what_makes_no_sense_is_said_and_the_rest_is_kept) {
  const auto path = folder_ / "desk.json";
  std::ofstream(path) << R"({"dark": "yes", "text_scale": 99, "slow_speed": 0.5,
                             "keys": {"split": "Hyper+S", "join": "F12"}, "lanes": [3, {"lane": 4}]})";
  // A lane whose name is a number is passed over like any unknown one.
  std::ofstream(folder_ / "broken.json") << "{";
  const LoadedSettings broken = load_settings(folder_ / "broken.json");
  EXPECT_EQ(broken.remarks.size(), 1U);
  EXPECT_EQ(broken.settings, Settings());
  const LoadedSettings missing = load_settings(folder_ / "none.json");
  EXPECT_TRUE(missing.remarks.empty());
  const LoadedSettings loaded = load_settings(path);
  EXPECT_EQ(loaded.settings.slow_speed, 0.5);
  EXPECT_EQ(loaded.settings.is_dark, Settings().is_dark);
  EXPECT_EQ(loaded.settings.keys.key_of(Action::join), (KeyChord{keys::f1 + 11}));
  EXPECT_EQ(loaded.settings.keys.key_of(Action::split), info_of(Action::split).key);
  EXPECT_EQ(loaded.remarks.size(), 3U);
}

}  // namespace
}  // namespace lowstride::desk
