// Every gesture ends in the take, and one undo gives back the take as it was.
#include <gmock/gmock.h>

#include <imgui.h>
#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/harmony.hpp"

#include "tests/gui/desk_stage.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::desk {
namespace {

using testing_help::DeskStage;

class Gesture : public testing::Test {
 protected:
  void SetUp() override {
    stage_.open(sheet::example::walk());
    // Two bars: everything has room.
    stage_.desk().state().axis = showing(stage_.desk().state().axis, 12000.0,
                                         12000.0 + 10 * 24000.0, stage_.take().length_samples);
    stage_.step(2);
    before_ = stage_.take();
  }

  /// The take was changed in one step, and undo gives back what was there, to the last field.
  void expect_one_step(const std::string& what) {
    stage_.settle();
    EXPECT_NE(stage_.take(), before_) << what << " changed nothing: " << stage_.desk().status();
    ASSERT_NE(stage_.desk().session().history(), nullptr);
    EXPECT_EQ(stage_.desk().session().history()->done().size(), 1U) << what;
    stage_.desk().run(Action::undo);
    EXPECT_EQ(stage_.take(), before_) << what << " was not undone exactly";
    stage_.desk().run(Action::redo);
    EXPECT_NE(stage_.take(), before_) << what << " was not done again";
    stage_.desk().run(Action::undo);
    stage_.step();
    EXPECT_EQ(stage_.take(), before_);
  }
  const take::Note& note(std::size_t index) { return stage_.take().notes[index]; }
  void select(std::size_t index) { stage_.click(stage_.on_note(index)); }

  DeskStage stage_;
  take::Take before_;
};

TEST_F(Gesture, a_click_selects_and_an_arrow_moves_by_a_semitone) {
  select(1);
  EXPECT_TRUE(stage_.desk().state().is_selected(before_.notes[1].id));
  stage_.key("Up");
  EXPECT_EQ(note(1).midi, before_.notes[1].midi + 1);
  EXPECT_EQ(note(1).state, take::State::confirmed);
  expect_one_step("semitone up");
  stage_.key("Down");
  EXPECT_EQ(note(1).midi, before_.notes[1].midi - 1);
  expect_one_step("semitone down");
}

TEST_F(Gesture, an_edit_shows_in_the_next_frame) {
  select(1);
  stage_.desk().press(*parse_key_chord("Up"));
  stage_.step();
  EXPECT_EQ(stage_.take().notes[1].midi, before_.notes[1].midi + 1);
  bool is_shown = false;
  for (const NoteBox& box : stage_.desk().lanes().notes) {
    if (box.index == 1) is_shown = box.is_confirmed;
  }
  EXPECT_TRUE(is_shown);
}

TEST_F(Gesture, octave) {
  select(2);
  stage_.key("Shift+Down");
  EXPECT_EQ(note(2).midi, before_.notes[2].midi - 12);
  expect_one_step("octave down");
}

TEST_F(Gesture, typing_a_fret_on_the_string) {
  select(1);
  const int string = note(1).position->string_number;
  stage_.key("7");
  stage_.settle();
  EXPECT_EQ(note(1).position->fret, 7);
  EXPECT_EQ(note(1).position->string_number, string);
  EXPECT_EQ(note(1).midi, neck::sounding_midi(stage_.take().neck, string, 7));
  EXPECT_TRUE(note(1).is_position_pinned);
  expect_one_step("fret 7");
  stage_.key("1");
  EXPECT_EQ(stage_.take(), before_) << "a second digit may follow";
  stage_.key("2");
  EXPECT_EQ(note(1).position->fret, 12);
  expect_one_step("fret 12");
  stage_.key("2");
  stage_.step(60);
  EXPECT_EQ(note(1).position->fret, 2) << "without a second digit the first one counts";
  stage_.settle();
  stage_.desk().run(Action::undo);
  EXPECT_EQ(stage_.take(), before_);
}

TEST_F(Gesture, another_string_for_the_same_pitch) {
  select(1);
  stage_.key("Ctrl+Down");
  EXPECT_EQ(note(1).midi, before_.notes[1].midi);
  EXPECT_EQ(note(1).position->string_number, before_.notes[1].position->string_number + 1);
  expect_one_step("lower string");
}

TEST_F(Gesture, dragging_the_onset_snaps_to_the_grid_and_is_free_with_alt) {
  const Rect chip = stage_.chip_of(1);
  const float beat = static_cast<float>(24000.0 / stage_.desk().state().axis.samples_per_px);
  stage_.drag({chip.x0 - 1.0F, chip.middle_y()}, {chip.x0 - 1.0F + beat * 0.48F, chip.middle_y()});
  // Half way through a beat, or at the long eighth of 2 : 1.
  EXPECT_NEAR(static_cast<double>(note(1).onset_samples - before_.notes[1].onset_samples), 12000.0,
              1.0);
  expect_one_step("drag onset");
  stage_.hold(false, false, true);
  stage_.drag({chip.x0 - 1.0F, chip.middle_y()}, {chip.x0 - 1.0F + beat * 0.43F, chip.middle_y()});
  stage_.hold(false, false, false);
  EXPECT_NEAR(static_cast<double>(note(1).onset_samples - before_.notes[1].onset_samples),
              24000.0 * 0.43, 24000.0 * 0.03);
  expect_one_step("drag onset freely");
}

TEST_F(Gesture, dragging_the_end) {
  for (const NoteBox& box : stage_.desk().lanes().notes) {
    if (box.index != 0) continue;
    stage_.drag({box.sound.x1 - 1.0F, box.chip.middle_y()},
                {box.sound.x1 - 30.0F, box.chip.middle_y()});
    break;
  }
  EXPECT_LT(note(0).offset_samples, before_.notes[0].offset_samples);
  EXPECT_EQ(note(0).onset_samples, before_.notes[0].onset_samples);
  expect_one_step("drag end");
}

TEST_F(Gesture, while_the_button_is_down_nothing_changes) {
  const Rect chip = stage_.chip_of(1);
  stage_.move({chip.x0 + 5.0F, chip.middle_y()});
  stage_.press();
  stage_.move({chip.x0 + 60.0F, chip.middle_y()});
  stage_.move({chip.x0 + 70.0F, chip.middle_y()});
  EXPECT_EQ(stage_.take(), before_);
  EXPECT_TRUE(std::holds_alternative<NoteDraft>(stage_.desk().state().draft));
  stage_.key("Escape");
  stage_.release();
  EXPECT_EQ(stage_.take(), before_) << "Escape gives up the drag";
}

TEST_F(Gesture, dragging_a_note_to_another_string) {
  const Point from = stage_.on_note(1);
  const auto& lanes = stage_.desk().lanes();
  const int string = before_.notes[1].position->string_number;
  stage_.drag(from, {from.x + 1.0F, lanes.string_ys[static_cast<std::size_t>(string)]});
  EXPECT_EQ(note(1).position->string_number, string + 1);
  EXPECT_EQ(note(1).midi, before_.notes[1].midi);
  expect_one_step("drag to a string");
}

TEST_F(Gesture, nudges_from_the_keyboard) {
  select(1);
  stage_.key("Ctrl+Right");
  EXPECT_EQ(note(1).onset_samples, before_.notes[1].onset_samples + 480);
  expect_one_step("onset later");
  stage_.key("Alt+Left");
  EXPECT_EQ(note(1).offset_samples, before_.notes[1].offset_samples - 480);
  expect_one_step("end earlier");
}

TEST_F(Gesture, split_join_tie_dead_remove) {
  select(4);
  stage_.key("S");
  EXPECT_EQ(stage_.take().notes.size(), before_.notes.size() + 1);
  expect_one_step("split");
  select(2);
  stage_.key("J");
  EXPECT_EQ(stage_.take().notes.size(), before_.notes.size() - 1);
  expect_one_step("join");
  select(0);
  stage_.key("T");
  EXPECT_EQ(note(0).offset_samples, note(1).onset_samples);
  expect_one_step("tie");
  select(0);
  stage_.key("X");
  EXPECT_TRUE(note(0).is_dead);
  expect_one_step("dead note");
  select(0);
  stage_.key("Delete");
  EXPECT_EQ(stage_.take().notes.size(), before_.notes.size() - 1);
  EXPECT_EQ(stage_.take().gaps.size(), 1U);
  expect_one_step("remove");
}

TEST_F(Gesture, a_double_click_on_a_string_adds_a_note_there) {
  // Bar 1 is full; a dead stretch is made first.
  select(1);
  stage_.key("Delete");
  stage_.settle();
  before_ = stage_.take();
  const auto& lanes = stage_.desk().lanes();
  const float x = lanes.axis.px(static_cast<double>(24000 + 24000));
  stage_.double_click({x + 2.0F, lanes.string_ys[3]});
  stage_.settle();
  EXPECT_EQ(stage_.take().notes.size(), before_.notes.size() + 1);
  EXPECT_EQ(note(1).onset_samples, 48000);
  EXPECT_EQ(note(1).midi, 28) << "without evidence the open string";
  stage_.desk().run(Action::undo);
  EXPECT_EQ(stage_.take(), before_);
}

TEST_F(Gesture, confirm_and_doubt) {
  select(7);
  stage_.key("C");
  EXPECT_EQ(note(7).state, take::State::confirmed);
  expect_one_step("confirm");
  select(1);
  stage_.key("Q");
  EXPECT_TRUE(take::is_doubt(note(1)));
  stage_.settle();
  stage_.desk().run(Action::undo);
  EXPECT_EQ(stage_.take(), before_);
}

TEST_F(Gesture, a_box_selects_and_a_key_acts_on_all_at_once) {
  const auto& lanes = stage_.desk().lanes();
  const Rect staff = lanes.lane(LaneKind::strings)->rect;
  const float x = lanes.axis.px(24000.0 + 4.0 * 24000.0);
  stage_.drag({staff.x0 + 2.0F, staff.y0 + 2.0F}, {x - 6.0F, staff.y1 - 2.0F});
  EXPECT_EQ(stage_.desk().state().notes.size(), 5U) << "the notes of bar 1";
  stage_.key("Up");
  for (std::size_t i = 0; i < 5; ++i) EXPECT_EQ(note(i).midi, before_.notes[i].midi + 1);
  expect_one_step("five notes at once");
}

TEST_F(Gesture, all_like_this) {
  select(1);
  stage_.key("Ctrl+Shift+A");
  for (const take::NoteId id : stage_.desk().state().notes) {
    EXPECT_EQ(stage_.take().notes[*index_of(stage_.take(), id)].midi, before_.notes[1].midi);
  }
  EXPECT_GE(stage_.desk().state().notes.size(), 2U);
  stage_.key("C");
  expect_one_step("confirm all like this");
}

TEST_F(Gesture, a_chord_is_typed) {
  const ChordBox chord = stage_.desk().lanes().chords[1];
  stage_.double_click({chord.rect.x0 + 40.0F, chord.rect.middle_y()});
  stage_.step(2);
  stage_.type("Am7b5");
  ImGui::GetIO().KeysDown[ImGuiKey_Enter] = true;
  stage_.step();
  ImGui::GetIO().KeysDown[ImGuiKey_Enter] = false;
  stage_.step();
  EXPECT_EQ(take::chord_name(stage_.take(), stage_.take().chords[1]), "Am7b5");
  EXPECT_EQ(stage_.take().chords[1].state, take::State::confirmed);
  expect_one_step("chord name");
}

TEST_F(Gesture, dragging_a_change_of_chord_lands_on_a_beat) {
  const ChordBox chord = stage_.desk().lanes().chords[1];
  const float beat = static_cast<float>(24000.0 / stage_.desk().state().axis.samples_per_px);
  stage_.drag({chord.rect.x0, chord.rect.middle_y()},
              {chord.rect.x0 - 0.9F * beat, chord.rect.middle_y()});
  EXPECT_EQ(stage_.take().chords[1].begin_samples, before_.chords[1].begin_samples - 24000);
  expect_one_step("move the change");
}

TEST_F(Gesture, bass_under_a_chord_and_its_candidates) {
  select(1);
  stage_.key("Shift+H");
  EXPECT_EQ(stage_.take().chords[0].chord.bass_pc, before_.notes[1].midi % 12);
  expect_one_step("bass of the chord");
}

TEST_F(Gesture, beats_are_dragged_dropped_added_and_counted) {
  const auto beat_at = [&](std::size_t index) {
    const auto& lanes = stage_.desk().lanes();
    for (const BeatMark& mark : lanes.beats) {
      if (mark.index == index) {
        return Point{mark.x, lanes.lane(LaneKind::counts)->rect.middle_y()};
      }
    }
    throw std::runtime_error("the beat is not in view");
  };
  const Point third = beat_at(2);
  stage_.drag(third, {third.x + 20.0F, third.y});
  EXPECT_GT(stage_.take().beats[2].time_samples, before_.beats[2].time_samples);
  expect_one_step("drag beat");
  stage_.click(beat_at(2));
  stage_.key("O");
  EXPECT_EQ(stage_.take().beats[2].beat, 1);
  expect_one_step("this is one");
  stage_.click(beat_at(2));
  stage_.key("Shift+Delete");
  EXPECT_EQ(stage_.take().beats.size(), before_.beats.size() - 1);
  expect_one_step("drop a beat");
  const Point between{(beat_at(2).x + beat_at(3).x) / 2.0F, third.y};
  stage_.double_click(between);
  EXPECT_EQ(stage_.take().beats.size(), before_.beats.size() + 1);
  expect_one_step("insert a beat");
  stage_.key("Ctrl+2");
  EXPECT_GE(stage_.take().beats.size(), 2 * before_.beats.size() - 1);
  expect_one_step("double");
  stage_.key("Ctrl+1");
  EXPECT_LE(stage_.take().beats.size(), before_.beats.size() / 2 + 1);
  expect_one_step("halve");
}

TEST_F(Gesture, tapping_along_sets_beats) {
  ASSERT_NE(stage_.ears(), nullptr);
  stage_.key("Home");
  stage_.key("Space");
  stage_.step();
  for (int i = 0; i < 6; ++i) {
    stage_.ears()->place = 30000.0 + 20000.0 * i;
    stage_.step();
    stage_.key("M");
  }
  stage_.key("Space");
  const auto& beats = stage_.take().beats;
  const auto tapped = std::ranges::count_if(beats, [](const take::Beat& beat) {
    return beat.state == take::State::confirmed && (beat.time_samples - 30000) % 20000 == 0;
  });
  EXPECT_EQ(tapped, 6);
  expect_one_step("tap");
}

TEST_F(Gesture, dragging_over_the_bars_makes_a_loop_and_p_names_it) {
  const auto& lanes = stage_.desk().lanes();
  const float y = lanes.lane(LaneKind::ruler)->rect.middle_y();
  const float x0 = lanes.axis.px(24000.0);
  const float x1 = lanes.axis.px(24000.0 + 4 * 24000.0);
  stage_.drag({x0 + 3.0F, y}, {x1 - 4.0F, y});
  ASSERT_TRUE(stage_.desk().state().range);
  EXPECT_EQ(*stage_.desk().state().range, (take::Stretch{24000, 24000 + 4 * 24000}));
  EXPECT_EQ(stage_.ears()->settings.loop, stage_.desk().state().range);
  EXPECT_EQ(stage_.take(), before_) << "marking is no edit";
  stage_.key("P");
  stage_.step(2);
  ImGui::GetIO().KeysDown[ImGuiKey_Enter] = true;
  stage_.step();
  ImGui::GetIO().KeysDown[ImGuiKey_Enter] = false;
  stage_.step();
  ASSERT_EQ(stage_.take().passages.size(), 1U);
  EXPECT_EQ(stage_.take().passages[0].begin_samples, 24000);
  expect_one_step("name a passage");
}

TEST_F(Gesture, bars_are_copied_to_bars) {
  stage_.desk().state().range = take::Stretch{24000, 24000 + 4 * 24000};
  stage_.desk().state().cursor_samples = 24000.0 + 8 * 24000.0;
  stage_.key("Ctrl+D");
  std::vector<int> first;
  std::vector<int> third;
  for (const take::Note& note : stage_.take().notes) {
    if (note.onset_samples < 24000 + 4 * 24000) first.push_back(note.midi);
    if (note.onset_samples >= 24000 + 8 * 24000 && note.onset_samples < 24000 + 12 * 24000) {
      third.push_back(note.midi);
    }
  }
  EXPECT_EQ(third, first);
  expect_one_step("copy bars");
}

TEST_F(Gesture, the_wheel_zooms_where_the_pointer_is) {
  const auto& lanes = stage_.desk().lanes();
  const Rect staff = lanes.lane(LaneKind::strings)->rect;
  const Point at{staff.x0 + 300.0F, staff.middle_y()};
  const double under = lanes.axis.sample(at.x);
  const double before = stage_.desk().state().axis.samples_per_px;
  stage_.wheel(at, 2.0F);
  EXPECT_LT(stage_.desk().state().axis.samples_per_px, before);
  EXPECT_NEAR(stage_.desk().state().axis.sample(at.x), under, before);
}

TEST_F(Gesture, from_doubt_to_doubt) {
  stage_.key("Home");
  stage_.key("N");
  EXPECT_TRUE(stage_.desk().state().is_selected(before_.notes[7].id));
  EXPECT_TRUE(stage_.ears()->is_playing) << "the doubt is looped";
  EXPECT_LT(stage_.ears()->settings.speed_ratio, 1.0) << "slowly";
  stage_.key("C");
  stage_.key("N");
  EXPECT_EQ(stage_.desk().state().chord, before_.chords[5].id);
  stage_.key("N");
  EXPECT_EQ(stage_.desk().state().chord, before_.chords[5].id) << "the only one left";
}

TEST_F(Gesture, keys_typed_into_a_field_are_no_commands) {
  select(1);
  stage_.key("H");
  stage_.step(3);
  ASSERT_TRUE(ImGui::GetIO().WantTextInput);
  stage_.key("X");
  stage_.key("7");
  EXPECT_EQ(stage_.take(), before_);
  stage_.key("Escape");
  stage_.step(2);
  stage_.key("X");
  EXPECT_TRUE(note(1).is_dead);
}

TEST_F(Gesture, a_key_is_changed_on_the_help_page) {
  stage_.desk().settings().keys.set(Action::confirm, *parse_key_chord("Alt+Y"));
  select(7);
  stage_.key("Alt+Y");
  EXPECT_EQ(note(7).state, take::State::confirmed);
}

TEST_F(Gesture, a_remark_is_typed_about_a_note_changed_and_taken_away) {
  select(1);
  stage_.key("Shift+R");
  stage_.step(2);
  stage_.type("keep the thumb planted");
  stage_.enter();
  ASSERT_EQ(stage_.take().remarks.size(), 1U) << stage_.desk().status();
  EXPECT_EQ(stage_.take().remarks.front().note, before_.notes[1].id);
  EXPECT_EQ(stage_.take().remarks.front().text, "keep the thumb planted");
  expect_one_step("remark on a note");
  stage_.desk().run(Action::redo);
  stage_.step(2);
  // Its lane is there now, with the flag at the note.
  const LaneLayout& lanes = stage_.desk().lanes();
  ASSERT_EQ(lanes.remarks.size(), 1U);
  EXPECT_NEAR(lanes.remarks.front().rect.x0,
              lanes.axis.px(static_cast<double>(before_.notes[1].onset_samples)), 1.0F);
  const Rect flag = lanes.remarks.front().rect;
  stage_.click({flag.x0 + 6.0F, flag.middle_y()});
  EXPECT_EQ(stage_.desk().state().remark, stage_.take().remarks.front().id);
  stage_.key("Delete");
  EXPECT_TRUE(stage_.take().remarks.empty());
}

TEST_F(Gesture, a_remark_about_a_bar_stands_where_the_bar_begins) {
  stage_.desk().state().clear_selection();
  stage_.desk().state().cursor_samples = static_cast<double>(before_.beats[6].time_samples);
  stage_.key("Shift+R");
  stage_.step(2);
  stage_.type("softer");
  stage_.enter();
  ASSERT_EQ(stage_.take().remarks.size(), 1U);
  EXPECT_FALSE(stage_.take().remarks.front().note);
  EXPECT_EQ(stage_.take().remarks.front().at_samples, before_.beats[4].time_samples);
  expect_one_step("remark on a bar");
}

TEST_F(Gesture, a_passage_gets_another_colour) {
  stage_.desk().run(Action::clear_selection);
  ASSERT_TRUE(stage_.desk().session().apply(take::AddPassage{"head", 24000, 120000}));
  stage_.step(2);
  stage_.desk().state().passage = stage_.take().passages.front().id;
  stage_.key("Shift+P");
  EXPECT_EQ(stage_.take().passages.front().colour, 1);
  EXPECT_EQ(stage_.desk().lanes().passages.front().colour, 1U);
  stage_.desk().run(Action::undo);
  EXPECT_FALSE(stage_.take().passages.front().colour);
}

TEST_F(Gesture, keys_do_nothing_to_the_take_behind_a_dialog) {
  select(1);
  stage_.key("Ctrl+E");
  stage_.key("Up");
  stage_.key("Space");
  EXPECT_EQ(stage_.take(), before_);
  EXPECT_FALSE(stage_.ears()->is_playing);
  EXPECT_NE(ImGui::GetIO().ConfigFlags & ImGuiConfigFlags_NavEnableKeyboard, 0)
      << "the dialog is gone about in by keys";
  stage_.key("Escape");
  stage_.step();
  EXPECT_EQ(ImGui::GetIO().ConfigFlags & ImGuiConfigFlags_NavEnableKeyboard, 0);
  stage_.key("Up");
  EXPECT_NE(stage_.take(), before_);
}

// Every action with its first key, on a take where there is something to act on: none is without
// an answer, and none stops the desk.
TEST_F(Gesture, every_action_answers_to_its_key) {
  for (const ActionInfo& info : all_actions()) {
    if (info.action == Action::close) continue;
    SCOPED_TRACE(info.id);
    stage_.ears()->stop();
    stage_.desk().state().axis = showing(stage_.desk().state().axis, 12000.0,
                                         12000.0 + 10 * 24000.0, stage_.take().length_samples);
    stage_.step(2);
    select(1);
    stage_.desk().state().range = take::Stretch{24000, 120000};
    stage_.key(key_text(info.key).c_str());
    stage_.step(2);
    stage_.desk().run(Action::clear_selection);
    stage_.desk().run(Action::clear_selection);
    if (info.action != Action::redo && info.action != Action::undo) {
      while (stage_.desk().session().history() != nullptr &&
             !stage_.desk().session().history()->done().empty()) {
        stage_.desk().run(Action::undo);
      }
    }
    stage_.settle();
    ASSERT_TRUE(stage_.desk().session().has_take()) << info.id;
  }
}

}  // namespace
}  // namespace lowstride::desk
