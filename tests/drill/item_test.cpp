#include "src/drill/item.hpp"

#include <map>
#include <set>

#include <gmock/gmock.h>

#include "src/drill/answer.hpp"
#include "src/drill/answer_text.hpp"
#include "src/drill/hint.hpp"
#include "src/drill/sound.hpp"
#include "src/drill/variation.hpp"
#include "tests/drill/drill_takes.hpp"

namespace lowstride::drill {
namespace {

using testing::HasSubstr;
using theory::Role;

std::map<Kind, int> counts(const std::vector<Item>& items) {
  std::map<Kind, int> counts;
  for (const Item& item : items) ++counts[item.kind];
  return counts;
}

TEST(Items, every_kind_is_made_from_a_confirmed_line) {
  const auto items = items_of(example::line());
  auto count = counts(items);
  EXPECT_EQ(count[Kind::find_the_note], 32);
  EXPECT_GT(count[Kind::name_the_role], 20);
  EXPECT_GT(count[Kind::spot_the_change], 4);
  EXPECT_EQ(count[Kind::name_the_chord], 9);
  EXPECT_EQ(count[Kind::write_the_bar], 8);
  EXPECT_EQ(count[Kind::play_it_back], 4);
  EXPECT_EQ(count[Kind::which_is_it], 8);
  EXPECT_EQ(count[Kind::hide_and_work_out], 2);
  std::set<std::string> keys;
  for (const Item& item : items) EXPECT_TRUE(keys.insert(item.key).second) << item.key;
  for (const Item& item : items) EXPECT_NEAR(item.tempo_bpm, 120.0, 0.01);
}

TEST(Items, places_are_said_as_players_say_them) {
  Item item;
  item.first_bar = 5;
  item.beats_per_bar = 4;
  EXPECT_EQ(beat_text(item, 0.0), "bar 5, beat 1");
  EXPECT_EQ(beat_text(item, 1.98), "bar 5, beat 3");
  EXPECT_EQ(beat_text(item, 2.05), "bar 5, beat 3");
  EXPECT_EQ(beat_text(item, 2.25), "bar 5, just after beat 3");
  EXPECT_EQ(beat_text(item, 2.66), "bar 5, half way after beat 3");
  EXPECT_EQ(beat_text(item, 3.75), "bar 6, just before beat 1");
  EXPECT_EQ(beat_text(item, 3.95), "bar 6, beat 1");
  EXPECT_EQ(beat_text(item, -0.05), "bar 5, beat 1");
}

TEST(Items, only_what_is_confirmed_is_asked) {
  take::Take take = example::line();
  take.notes[5].state = take::State::proposed;   // bar 2, beat 2
  take.chords[0].state = take::State::proposed;  // bar 1
  const auto items = items_of(take);
  for (const Item& item : items) {
    if (item.kind != Kind::spot_the_change && item.kind != Kind::name_the_chord) {
      EXPECT_FALSE(item.first_bar <= 2 &&
                   item.first_bar + static_cast<int>(item.beat_count()) / 4 > 2)
          << item.key;
    }
    const bool needs_chords = item.kind == Kind::name_the_chord ||
                              item.kind == Kind::name_the_role ||
                              item.kind == Kind::spot_the_change;
    EXPECT_FALSE(needs_chords && item.first_bar == 1) << item.key;
  }
  for (take::Note& note : take.notes) note.state = take::State::proposed;
  for (take::ChordSpan& chord : take.chords) chord.state = take::State::proposed;
  EXPECT_TRUE(items_of(take).empty());
  take.beats.clear();
  EXPECT_TRUE(items_of(take).empty());
}

TEST(Items, keys_outlive_edits_elsewhere) {
  const take::Take take = example::line();
  take::Take edited = take;
  edited.notes[20].midi += 2;
  edited.title = take.title;
  const auto before = items_of(take);
  const auto after = items_of(edited);
  EXPECT_EQ(example::find(before, Kind::find_the_note, 1, 2.0).key,
            example::find(after, Kind::find_the_note, 1, 2.0).key);
}

TEST(Items, a_named_passage_limits_and_is_worked_out) {
  take::Take take = example::line();
  // Begins half a beat ahead of bar 3, as passages marked by hand do.
  take.passages.push_back({take::PassageId{900}, "turn", take.beats[8].time_samples - 12000,
                           take.beats[16].time_samples});
  ItemOptions options;
  options.passage = "turn";
  const auto items = items_of(take, options);
  auto count = counts(items);
  EXPECT_EQ(count[Kind::find_the_note], 8);
  EXPECT_EQ(count[Kind::hide_and_work_out], 1);
  for (const Item& item : items) EXPECT_EQ(item.passage, "turn");
}

class Judging : public testing::Test {
 protected:
  Judging() : items(items_of(example::line())) {}

  Verdict judged(const Item& item, const std::string& text) const {
    const auto answer = parse_answer(item, text);
    EXPECT_TRUE(answer) << text << ": " << (answer ? "" : answer.error().message);
    return answer ? judge(item, *answer) : Verdict{};
  }

  std::vector<Item> items;
};

TEST_F(Judging, a_note_by_name_octave_or_place_on_the_neck) {
  const Item& item = example::find(items, Kind::find_the_note, 2, 1.0);  // D2 = 38
  EXPECT_TRUE(judged(item, "D2").is_right);
  EXPECT_TRUE(judged(item, "d").is_right);
  EXPECT_TRUE(judged(item, "3/5").is_right);  // fifth fret of the A string: A1 + 5
  EXPECT_TRUE(judged(item, "2/0").is_right);  // the open D string
  const Verdict octave = judged(item, "D3");
  EXPECT_FALSE(octave.is_right);
  EXPECT_EQ(octave.marks.front().mark, Mark::octave);
  EXPECT_EQ(judged(item, "C2").marks.front().mark, Mark::up);
  EXPECT_EQ(judged(item, "Eb").marks.front().mark, Mark::down);
  EXPECT_EQ(judge(item, GiveUp{}).right, "D2");
  for (const char* bad : {"H", "5/1", "3/99", "D2 E2", "D99", "/", ""})
    EXPECT_FALSE(parse_answer(item, bad)) << bad;
}

TEST_F(Judging, roles_by_number_or_name) {
  const Item& item = example::find(items, Kind::name_the_role, 4, 3.0);  // F#2 before G2 of Gm7
  ASSERT_EQ(item.notes[item.asked].role, Role::approach_from_below);
  EXPECT_TRUE(judged(item, "9").is_right);
  EXPECT_TRUE(judged(item, std::string(theory::role_text(Role::approach_from_below))).is_right);
  EXPECT_FALSE(judged(item, "fifth").is_right);
  EXPECT_EQ(judged(item, "fifth").right, theory::role_text(Role::approach_from_below));
  EXPECT_FALSE(parse_answer(item, "s")) << "sixth, seventh or scale passing note";
  EXPECT_FALSE(parse_answer(item, "99"));
}

TEST_F(Judging, changes_in_beats) {
  const Item& inside = example::find(items, Kind::spot_the_change, 5);
  ASSERT_EQ(inside.beat_count(), 4);
  EXPECT_TRUE(judged(inside, "3").is_right);
  EXPECT_TRUE(judged(inside, "b5:3.3").is_right);
  EXPECT_THAT(judged(inside, "3.4").remark, HasSubstr("0.4 beats after"));
  EXPECT_FALSE(judged(inside, "4").is_right);
  EXPECT_FALSE(judged(inside, "2 3").is_right) << "one too many";
  // A change on the one is heard from the bar before.
  const Item& on_one = example::find(items, Kind::spot_the_change, 1);
  ASSERT_EQ(on_one.beat_count(), 8);
  EXPECT_TRUE(judged(on_one, "b2").is_right);
  EXPECT_FALSE(parse_answer(on_one, "b9:1"));
}

TEST_F(Judging, chords_by_quality_and_bass) {
  const Item& item = example::find(items, Kind::name_the_chord, 7);  // D7/F#
  EXPECT_TRUE(judged(item, "D7/F#").is_right);
  const Verdict root = judged(item, "D7");
  EXPECT_FALSE(root.is_right);
  EXPECT_NEAR(root.share_right, 2.0 / 3.0, 1e-9);
  EXPECT_THAT(root.remark, HasSubstr("quality is right"));
  EXPECT_THAT(judged(item, "F#m7b5").remark, HasSubstr("bass note is right"));
}

TEST_F(Judging, a_bar_is_marked_as_in_pencil) {
  const Item& item = example::find(items, Kind::write_the_bar, 2);  // Bb1 D2 F2 E2
  EXPECT_TRUE(judged(item, "Bb1 D2 F2 E2").is_right);
  EXPECT_TRUE(judged(item, "Bb D F E").is_right);
  const Verdict verdict = judged(item, "Bb2 C2 G2 -");
  std::vector<Mark> marks;
  for (const MarkedNote& note : verdict.marks) marks.push_back(note.mark);
  EXPECT_EQ(marks, (std::vector<Mark>{Mark::octave, Mark::up, Mark::down, Mark::open}));
  EXPECT_NEAR(verdict.share_right, 0.125, 1e-9);
  EXPECT_EQ(judged(item, "Bb1 D2 @2.5 C2 F2 E2").marks[2].mark, Mark::extra);
  EXPECT_FALSE(parse_answer(item, "C C C C C"));
  EXPECT_FALSE(parse_answer(item, "@7 C"));
}

TEST_F(Judging, a_passage_is_taken_down_over_bar_lines) {
  const Item& item = example::find(items, Kind::hide_and_work_out, 1);
  EXPECT_TRUE(judged(item, "F1 A1 C2 A1 | Bb1 D2 F2 E2 | F2 C2 A1 G1 | F1 A1 C2 F#2").is_right);
  const Verdict half = judged(item, "F1 A1 C2 A1 | - - | F2 C2 A1 G1 | F1 A1 C2 F#2");
  EXPECT_EQ(half.marks.size(), 16U);
  EXPECT_NEAR(half.share_right, 0.75, 1e-9);
}

LineAnswer played(const Item& item, int octave, double late_beats) {
  LineAnswer answer;
  answer.is_played = true;
  for (const ItemNote& note : item.notes)
    answer.notes.push_back({note.beat + late_beats, note.midi + 12 * octave, true, false});
  return answer;
}

TEST_F(Judging, a_played_line_is_judged_in_pitch_and_time) {
  const Item& item = example::find(items, Kind::play_it_back, 1);
  const Verdict perfect = judge(item, played(item, 0, 0.0));
  EXPECT_TRUE(perfect.is_right);
  EXPECT_NEAR(*perfect.late_seconds, 0.0, 1e-9);
  EXPECT_EQ(grade_of(item, perfect, {}), Grade::at_once);
  // An octave off throughout: wrong, and told apart from wrong notes.
  const Verdict deaf = judge(item, played(item, 1, 0.0));
  EXPECT_FALSE(deaf.is_right);
  EXPECT_NEAR(deaf.share_right, 0.5, 1e-9);
  EXPECT_THAT(deaf.remark, HasSubstr("octave is another throughout"));
  EXPECT_EQ(grade_of(item, deaf, {}), Grade::with_hints);
  EXPECT_EQ(grade_of(item, judge(item, played(item, -2, 0.0)), {}), Grade::with_hints);
  // 80 ms at 120 beats a minute are 0.16 beats.
  const Verdict late = judge(item, played(item, 0, 0.16));
  EXPECT_TRUE(late.is_right);
  EXPECT_NEAR(*late.late_seconds, 0.08, 1e-6);
  EXPECT_THAT(late.remark, HasSubstr("80 ms late"));
  EXPECT_EQ(grade_of(item, late, {}), Grade::slow);
  // At half speed the same beats are twice the time.
  JudgeOptions half;
  half.speed_ratio = 0.5;
  EXPECT_NEAR(*judge(item, played(item, 0, 0.16), half).late_seconds, 0.16, 1e-6);
  // Late by most of a beat: still the same notes, not each the one before.
  EXPECT_TRUE(judge(item, played(item, 0, 0.45)).is_right);
}

// One scale of grades for the three kinds that ask for pitches: another octave is milder than a
// wrong note, and help counts as ever.
TEST_F(Judging, another_octave_is_milder_than_a_wrong_note_in_every_kind) {
  for (const Kind kind : {Kind::find_the_note, Kind::write_the_bar, Kind::play_it_back}) {
    const Item& item = example::find(items, kind, 1);
    const auto answer = [&](int semitones, int last_semitones) -> Answer {
      if (kind == Kind::find_the_note) {
        return NoteAnswer{{0.0, item.notes[item.asked].midi + last_semitones, true, false}};
      }
      LineAnswer line = played(item, 0, 0.0);
      line.is_played = kind == Kind::play_it_back;
      for (AnsweredNote& note : line.notes) note.midi += semitones;
      line.notes.back().midi += last_semitones - semitones;
      return line;
    };
    const auto grade = [&](int semitones, int last_semitones, int hint_count) {
      const Verdict verdict = judge(item, answer(semitones, last_semitones));
      return grade_of(item, verdict, {hint_count, 0, 0.0});
    };
    EXPECT_EQ(grade(0, 0, 0), Grade::at_once) << kind_text(kind);
    EXPECT_EQ(grade(12, 12, 0), Grade::with_hints) << kind_text(kind);
    EXPECT_EQ(grade(-12, 24, 0), Grade::with_hints) << kind_text(kind);
    EXPECT_EQ(grade(0, 12, 0), Grade::with_hints) << kind_text(kind);
    EXPECT_EQ(grade(12, 12, 2), Grade::with_hints) << kind_text(kind);
    EXPECT_EQ(grade(12, 12, 4), Grade::missed) << "the note itself was told";
    EXPECT_EQ(grade(12, 13, 0), Grade::missed) << kind_text(kind);
    EXPECT_EQ(grade(0, 1, 0), Grade::missed) << kind_text(kind);
  }
  const Item& item = example::find(items, Kind::write_the_bar, 1);
  EXPECT_EQ(grade_of(item, judge(item, GiveUp{}), {}), Grade::missed);
}

TEST_F(Judging, which_is_it_hides_the_answer_evenly_and_can_be_judged_again) {
  int first = 0;
  std::set<std::string> changes;
  for (const Item& item : items) {
    if (item.kind != Kind::which_is_it) continue;
    for (int seed = 0; seed < 40; ++seed) {
      const Variation variation = vary(item, seed);
      EXPECT_EQ(variation, vary(item, seed));
      EXPECT_NE(variation.first, variation.second);
      EXPECT_EQ(variation.right_index == 0 ? variation.first : variation.second, item.notes);
      first += variation.right_index == 0 ? 1 : 0;
      changes.insert(variation.change.substr(0, 6));
      JudgeOptions options;
      options.variation_seed = seed;
      EXPECT_TRUE(judge(item, ChoiceAnswer{variation.right_index}, options).is_right);
      EXPECT_FALSE(judge(item, ChoiceAnswer{1 - variation.right_index}, options).is_right);
      EXPECT_GE(variation.altered_midi, 28) << "on the neck";
    }
  }
  EXPECT_GT(first, 120);
  EXPECT_LT(first, 200);
  EXPECT_GE(changes.size(), 3U) << "semitones, octaves and roles";
}

TEST_F(Judging, hints_go_from_direction_to_sound_and_cost) {
  const Item& item =
      example::find(items, Kind::find_the_note, 2, 1.0);  // D2 after Bb1 under Bb7, in F
  EXPECT_THAT(hint_for(item, 1, item.asked)->text, HasSubstr("higher"));
  EXPECT_THAT(hint_for(item, 1, item.asked)->text, HasSubstr("leap"));
  EXPECT_THAT(hint_for(item, 2, item.asked)->text, HasSubstr("degree 6 of F"));
  EXPECT_THAT(hint_for(item, 3, item.asked)->text, HasSubstr("third"));
  EXPECT_THAT(hint_for(item, 4, item.asked)->text, HasSubstr("D2"));
  EXPECT_EQ(hint_for(item, 5, item.asked)->note, item.asked);
  EXPECT_FALSE(hint_for(item, 6, item.asked));
  const Verdict right = judged(item, "D2");
  Effort effort;
  EXPECT_EQ(grade_of(item, right, effort), Grade::at_once);
  EXPECT_DOUBLE_EQ(points_of(right, effort), 1.0);
  effort.thinking_seconds = 30.0;
  EXPECT_EQ(grade_of(item, right, effort), Grade::slow);
  double before = 1.0;
  for (effort.hint_count = 1; effort.hint_count <= hint_step_count; ++effort.hint_count) {
    EXPECT_LT(points_of(right, effort), before);
    before = points_of(right, effort);
    EXPECT_EQ(grade_of(item, right, effort),
              effort.hint_count < 4 ? Grade::with_hints : Grade::missed);
  }
  EXPECT_FALSE(hint_for(example::find(items, Kind::which_is_it, 1), 1, 0));
  EXPECT_FALSE(hint_for(example::find(items, Kind::hide_and_work_out, 1), 1, 0));
  // The role itself is never told before the note.
  const Item& role = example::find(items, Kind::name_the_role, 2, 1.0);
  for (int step = 1; step <= 3; ++step)
    EXPECT_EQ(hint_for(role, step, role.asked)->text.find("third"), std::string::npos);
}

TEST_F(Judging, sounds_follow_the_beats_as_they_were_played) {
  const Item& item = example::find(items, Kind::play_it_back, 1);
  const SoundOrder order = accompaniment_sound(item, 0.5);
  EXPECT_NEAR(count_in_seconds(item, 0.5), 4.0, 1e-9);
  EXPECT_NEAR(order.length_seconds, 4.0 + 8.0, 1e-6);
  EXPECT_EQ(order.clicks_seconds.size(), 12U);
  for (const Tone& tone : order.tones)
    EXPECT_GE(tone.midi, 60) << "the low voice is left to the player";
  EXPECT_EQ(order.source, SoundOrder::Source::tones);
  // With a recording it is that one which is played over, without the notes of the line.
  Item recorded = item;
  recorded.has_recording = true;
  const SoundOrder over = accompaniment_sound(recorded, 0.5);
  EXPECT_EQ(over.source, SoundOrder::Source::recording);
  EXPECT_EQ(over.left_out.size(), item.notes.size());
  EXPECT_NEAR(over.left_out[1].begin_seconds, 0.5, 0.01) << "at the recording's own speed";
  EXPECT_NEAR(over.lead_seconds, 4.0, 1e-9);
  EXPECT_EQ(over.tones, order.tones) << "for when it is not at hand";
  for (int quarter = 0; quarter < 32; ++quarter) {
    const double beat = 0.25 * quarter;
    EXPECT_NEAR(beat_heard_at(item, 0.5, beat), beat, 1e-6);
  }
  const SoundOrder line = stretch_sound(item, 1.0);
  EXPECT_EQ(line.source, SoundOrder::Source::tones);
  EXPECT_NEAR(line.tones.front().begin_seconds, 0.0, 0.01);
}

}  // namespace
}  // namespace lowstride::drill
