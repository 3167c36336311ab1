#include "src/drill/session.hpp"

#include <functional>
#include <map>
#include <random>
#include <set>
#include <tuple>

#include <gmock/gmock.h>

#include "src/drill/answer_text.hpp"
#include "src/drill/progress.hpp"
#include "src/drill/variation.hpp"
#include "tests/drill/drill_takes.hpp"

namespace lowstride::drill {
namespace {

using testing::HasSubstr;

constexpr UnixSeconds day = 86400;

/// The right answer to an item, as a player who hears everything gives it.
Answer right_answer(const Session& session) {
  const Item& item = session.item();
  switch (item.kind) {
    case Kind::find_the_note:
      return NoteAnswer{{0.0, item.notes[item.asked].midi, true, false}};
    case Kind::name_the_role:
      return RoleAnswer{*item.notes[item.asked].role};
    case Kind::spot_the_change: {
      TapAnswer taps;
      for (const ItemChord& chord : item.chords) {
        if (chord.beat > 0.25) taps.beats.push_back(chord.beat);
      }
      return taps;
    }
    case Kind::name_the_chord:
      return ChordAnswer{item.chords[item.asked].chord};
    case Kind::which_is_it:
      return ChoiceAnswer{vary(item, session.variation_seed()).right_index};
    case Kind::write_the_bar:
    case Kind::play_it_back:
    case Kind::hide_and_work_out:
      break;
  }
  LineAnswer line;
  line.is_played = item.kind == Kind::play_it_back;
  for (const ItemNote& note : item.notes)
    line.notes.push_back({note.beat, note.midi, true, note.is_dead});
  return line;
}

Answer moved(Answer answer, int semitones, double beats) {
  if (auto* note = std::get_if<NoteAnswer>(&answer)) note->note.midi += semitones;
  if (auto* line = std::get_if<LineAnswer>(&answer)) {
    for (AnsweredNote& note : line->notes) {
      note.midi += semitones;
      note.beat += beats;
    }
  }
  return answer;
}

/// A history in memory that a simulated player works on, day after day.
struct Practice {
  explicit Practice(std::vector<Kind> kinds = {}) {
    ItemOptions options;
    options.kinds = std::move(kinds);
    items = items_of(example::line(), options);
  }

  using Player = std::function<Answer(const Session&)>;

  void run_day(int number, const Player& player, double thinking_seconds = 1.0) {
    SessionOptions options;
    options.length_minutes = 600.0;
    options.rest_after_minutes = 20.0;
    options.most_new = 200;
    options.seed = static_cast<std::uint32_t>(number + 1);
    Session session(items, all_states(), default_weights, options,
                    [this](const Item& item, const AnswerRecord& answer) -> Result<ItemState> {
                      records.push_back(answer);
                      const auto found = states.find(item.key);
                      const std::optional<ItemState> before =
                          found == states.end() ? std::nullopt : std::optional(found->second);
                      return states[item.key] = after_answer(before, item, default_weights,
                                                             answer.grade, answer.answered_at);
                    });
    Moment now{number * day, 0.0};
    const auto pass = [&now](double seconds) {
      now.steady_seconds += seconds;
      now.unix_seconds =
          now.unix_seconds / day * day + static_cast<UnixSeconds>(now.steady_seconds);
    };
    Turn turn = session.begin(now);
    for (int step = 0; step < 3000 && session.phase() != Phase::done; ++step) {
      for (const SoundOrder& order : turn.sounds) pass(order.length_seconds);
      if (session.phase() == Phase::asking) {
        pass(thinking_seconds);
        turn = session.answer(player(session), now);
      } else {
        if (session.phase() == Phase::resting) ++rests;
        turn = session.go_on(now);
      }
      if (session.summary().item_count > 400) turn = session.stop(now);
    }
    last = session.summary();
  }

  [[nodiscard]] std::vector<ItemState> all_states() const {
    std::vector<ItemState> all;
    for (const auto& [key, state] : states) all.push_back(state);
    return all;
  }

  std::vector<Item> items;
  std::map<std::string, ItemState> states;
  std::vector<AnswerRecord> records;
  SessionSummary last;
  int rests = 0;
};

TEST(Players, a_perfect_one_needs_ever_fewer_answers_and_ends_at_full_speed) {
  Practice practice;
  std::vector<std::size_t> answers_by_month(8, 0);
  for (int d = 0; d < 240; ++d) {
    const std::size_t before = practice.records.size();
    practice.run_day(d, right_answer);
    answers_by_month[static_cast<std::size_t>(d / 30)] += practice.records.size() - before;
  }
  for (const AnswerRecord& record : practice.records) {
    EXPECT_EQ(record.grade, Grade::at_once)
        << record.item_key << " " << record.heard << " for " << record.right;
  }
  EXPECT_EQ(practice.states.size(), practice.items.size());
  EXPECT_GT(answers_by_month[0], practice.items.size());
  EXPECT_LT(answers_by_month[7], practice.items.size())
      << "the cap brings each back once in 60 days";
  for (const auto& [key, state] : practice.states) {
    EXPECT_EQ(state.missed_count, 0);
    EXPECT_GT(state.memory.stability_days, 30.0);
    EXPECT_EQ(state.memory.difficulty, 1.0);
    EXPECT_GE(state.speed_step, 2) << key;
  }
}

TEST(Players, a_guessing_one_ends_at_chance_and_with_everything_slow) {
  std::mt19937 random(3);
  Practice practice({Kind::which_is_it, Kind::name_the_role});
  for (int d = 0; d < 20; ++d) {
    practice.run_day(d, [&random](const Session& session) -> Answer {
      if (session.item().kind == Kind::which_is_it)
        return ChoiceAnswer{static_cast<int>(random() % 2)};
      return RoleAnswer{asked_roles()[random() % asked_roles().size()]};
    });
  }
  double choices = 0.0;
  double choices_right = 0.0;
  double roles = 0.0;
  double roles_right = 0.0;
  for (const AnswerRecord& record : practice.records) {
    const bool is_choice = record.kind == Kind::which_is_it;
    (is_choice ? choices : roles) += 1.0;
    if (record.share_right > 0.99) (is_choice ? choices_right : roles_right) += 1.0;
  }
  ASSERT_GT(choices, 100);
  ASSERT_GT(roles, 100);
  EXPECT_NEAR(choices_right / choices, 0.5, 0.12);
  // Two tries among eleven roles.
  EXPECT_NEAR(roles_right / roles, 2.0 / 11.0, 0.07);
  double speed = 0.0;
  double difficulty = 0.0;
  for (const auto& [key, state] : practice.states) {
    speed += state.speed_step;
    difficulty += state.memory.difficulty;
  }
  EXPECT_LT(speed / static_cast<double>(practice.states.size()), 0.5);
  EXPECT_GT(difficulty / static_cast<double>(practice.states.size()), 8.0);
}

TEST(Players, one_deaf_to_octaves_keeps_what_is_heard_and_gets_no_faster) {
  Practice practice({Kind::find_the_note, Kind::play_it_back, Kind::write_the_bar});
  for (int d = 0; d < 60; ++d) {
    practice.run_day(d,
                     [](const Session& session) { return moved(right_answer(session), 12, 0.0); });
    EXPECT_EQ(practice.last.right_count, 0);
  }
  ASSERT_GT(practice.records.size(), 60U);
  for (const AnswerRecord& record : practice.records) {
    EXPECT_EQ(record.grade, Grade::with_hints) << kind_text(record.kind);
    EXPECT_NEAR(record.share_right, 0.5, 1e-9);
    for (const NoteRecord& note : record.notes) EXPECT_EQ(note.mark, Mark::octave);
  }
  EXPECT_EQ(practice.states.size(), practice.items.size());
  for (const auto& [key, state] : practice.states) {
    EXPECT_EQ(state.missed_count, 0) << key;
    EXPECT_EQ(state.speed_step, first_speed_step) << key;
    EXPECT_GT(state.memory.difficulty, 7.0) << key;
  }
  const Progress progress = progress_of(practice.records);
  EXPECT_EQ(progress.right_count, 0);
  ASSERT_EQ(progress.troubles.size(), 1U);
  EXPECT_EQ(progress.troubles[0].cause, "always the octave");
}

TEST(Players, one_deaf_to_pitch_is_not_taken_for_one_deaf_to_octaves) {
  Practice practice({Kind::find_the_note, Kind::play_it_back, Kind::write_the_bar});
  practice.run_day(0, [](const Session& session) { return moved(right_answer(session), 11, 0.0); });
  ASSERT_GT(practice.records.size(), 30U);
  for (const AnswerRecord& record : practice.records) {
    EXPECT_EQ(record.grade, Grade::missed) << kind_text(record.kind);
    EXPECT_EQ(record.share_right, 0.0);
  }
}

TEST(Players, one_late_by_80_ms_is_right_and_slow) {
  Practice practice({Kind::play_it_back});
  practice.run_day(0, [](const Session& session) {
    const double beats = 0.08 * session.speed_ratio() / session.item().seconds_per_beat();
    return moved(right_answer(session), 0, beats);
  });
  ASSERT_EQ(practice.records.size(), 4U);
  for (const AnswerRecord& record : practice.records) {
    EXPECT_EQ(record.grade, Grade::slow);
    EXPECT_NEAR(*record.late_seconds, 0.08, 1e-6);
    EXPECT_NEAR(record.share_right, 1.0, 1e-9);
  }
}

class Sessions : public testing::Test {
 protected:
  Session make(std::vector<Kind> kinds, SessionOptions options = {}) {
    ItemOptions item_options;
    item_options.kinds = std::move(kinds);
    options.has_warm_up = has_warm_up;
    return Session(items_of(example::line(), item_options), {}, default_weights, options,
                   [this](const Item& item, const AnswerRecord& answer) -> Result<ItemState> {
                     records.push_back(answer);
                     if (is_disk_full)
                       return fail(ErrorCode::cannot_write, "The disk is full; make room.");
                     return after_answer(std::nullopt, item, default_weights, answer.grade,
                                         answer.answered_at);
                   });
  }

  bool has_warm_up = false;
  bool is_disk_full = false;
  std::vector<AnswerRecord> records;
};

TEST_F(Sessions, begin_with_care_a_warm_up_and_a_fade_in) {
  has_warm_up = true;
  Session session = make({});
  const Turn warm_up = session.begin({});
  EXPECT_EQ(warm_up.phase, Phase::listening);
  EXPECT_THAT(warm_up.says.front(), HasSubstr("quietly"));
  EXPECT_THAT(warm_up.says[1], HasSubstr("doctor"));
  ASSERT_FALSE(warm_up.sounds.empty());
  EXPECT_GT(warm_up.sounds.front().fade_in_seconds, 1.0);
  EXPECT_FALSE(warm_up.verdict);
  const Turn question = session.go_on({});
  EXPECT_EQ(question.phase, Phase::asking);
  EXPECT_EQ(question.sounds.front().fade_in_seconds, 0.0);
}

TEST_F(Sessions, a_wrong_try_is_marked_and_the_second_ends_it) {
  Session session = make({Kind::write_the_bar});
  Turn turn = session.begin({});
  const Answer right = right_answer(session);
  turn = session.answer(moved(right, 1, 0.0), {0, 100.0});
  EXPECT_EQ(turn.phase, Phase::asking);
  EXPECT_TRUE(records.empty());
  EXPECT_THAT(turn.says.front(), HasSubstr("down"));
  EXPECT_FALSE(turn.grade);
  turn = session.answer(right, {0, 101.0});
  EXPECT_EQ(turn.phase, Phase::feedback);
  EXPECT_EQ(turn.grade, Grade::with_hints);
  ASSERT_EQ(records.size(), 1U);
  const AnswerRecord& kept = records.front();
  EXPECT_EQ(kept.wrong_try_count, 1);
  // What was heard at first is kept as well: the marks helped the second try.
  EXPECT_EQ(kept.notes.front().mark, Mark::tick);
  ASSERT_TRUE(kept.first_try);
  EXPECT_EQ(kept.first_try->notes.front().mark, Mark::down);
  EXPECT_EQ(kept.first_try->notes.front().heard_midi, *kept.notes.front().heard_midi + 1);
  EXPECT_EQ(kept.first_try->share_right, 0.0);
  EXPECT_EQ(&kept.first_notes(), &kept.first_try->notes);
  EXPECT_EQ(kept.place, session.item().place);
}

// The issue: graded note by note in pitch and time.
TEST_F(Sessions, a_played_line_is_marked_note_by_note_in_time_too) {
  Session session = make({Kind::play_it_back});
  std::ignore = session.begin({});
  LineAnswer played = std::get<LineAnswer>(right_answer(session));
  const double beat_seconds = session.item().seconds_per_beat() / session.speed_ratio();
  played.notes[1].beat += 0.15 / beat_seconds;
  played.notes[2].midi += 12;
  const Turn turn = session.answer(played, {0, 100.0});
  EXPECT_THAT(turn.says.front(), HasSubstr("ok (150 ms late)"));
  EXPECT_THAT(turn.says.front(), HasSubstr("8ve"));
  EXPECT_THAT(turn.says.front(), testing::Not(HasSubstr("early")));
}

TEST_F(Sessions, hints_come_on_request_and_begin_at_the_first_open_note) {
  Session session = make({Kind::find_the_note});
  std::ignore = session.begin({});
  Turn turn = session.hint({});
  EXPECT_EQ(turn.says.size(), 1U);
  for (int i = 0; i < 8; ++i) turn = session.hint({});
  EXPECT_THAT(turn.says.front(), HasSubstr("no further hint"));
  turn = session.answer(right_answer(session), {0, 50.0});
  EXPECT_EQ(turn.grade, Grade::missed) << "it had been told and sounded";
}

TEST_F(Sessions, thinking_is_counted_from_the_end_of_the_sound) {
  Session session = make({Kind::find_the_note});
  const Turn question = session.begin({0, 1000.0});
  double length = 0.0;
  for (const SoundOrder& order : question.sounds) length += order.length_seconds;
  EXPECT_GT(length, 4.0);
  EXPECT_EQ(session.answer(right_answer(session), {0, 1000.0 + length + 3.5}).grade,
            Grade::at_once);
  EXPECT_NEAR(records.front().thinking_seconds, 3.5, 1e-6);
  std::ignore = session.go_on({0, 1100.0});
  session.sound_ended({0, 1101.0});
  EXPECT_EQ(session.answer(right_answer(session), {0, 1106.0}).grade, Grade::slow);
}

TEST_F(Sessions, rests_are_proposed_and_the_length_is_kept) {
  SessionOptions options;
  options.length_minutes = 45.0;
  options.listen_every = 0;
  options.most_new = 100;
  Session session = make({Kind::find_the_note}, options);
  std::ignore = session.begin({});
  std::vector<double> rests;
  double minute = 0.0;
  for (; session.phase() != Phase::done && minute < 100.0; minute += 1.0) {
    const Moment now{static_cast<UnixSeconds>(60 * minute), 60.0 * minute};
    if (session.phase() == Phase::resting) rests.push_back(minute);
    std::ignore =
        session.phase() == Phase::asking ? session.answer(GiveUp{}, now) : session.go_on(now);
  }
  ASSERT_EQ(rests.size(), 2U);
  EXPECT_NEAR(rests[0], 21.0, 2.0);
  EXPECT_NEAR(rests[1], 42.0, 3.0);
  EXPECT_NEAR(minute, 46.0, 2.0);
}

TEST_F(Sessions, listening_alternates_with_tasks) {
  SessionOptions options;
  options.listen_every = 3;
  Session session = make({Kind::find_the_note}, options);
  std::ignore = session.begin({});
  int answers_before = 0;
  for (int i = 0; i < 30 && session.phase() != Phase::listening; ++i) {
    if (session.phase() == Phase::asking) {
      std::ignore = session.answer(right_answer(session), {0, 1.0});
      ++answers_before;
    } else {
      std::ignore = session.go_on({0, 1.0});
    }
  }
  EXPECT_EQ(answers_before, 3);
}

TEST_F(Sessions, an_answer_that_could_not_be_kept_is_said_to_be_lost) {
  is_disk_full = true;
  Session session = make({Kind::name_the_chord});
  std::ignore = session.begin({});
  const Turn turn = session.answer(right_answer(session), {});
  EXPECT_EQ(turn.lost, "The disk is full; make room.");
  EXPECT_EQ(session.go_on({}).phase, Phase::asking) << "the session goes on";
}

TEST_F(Sessions, nothing_to_ask_ends_at_once) {
  Session session(
      {}, {}, default_weights, {},
      [](const Item&, const AnswerRecord&) -> Result<ItemState> { return ItemState{}; });
  EXPECT_EQ(session.begin({}).phase, Phase::done);
  EXPECT_EQ(session.stop({}).phase, Phase::done);
}

}  // namespace
}  // namespace lowstride::drill
