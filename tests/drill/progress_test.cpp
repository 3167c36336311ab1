#include "src/drill/progress.hpp"

#include <stdlib.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>

#include <gmock/gmock.h>

namespace lowstride::drill {
namespace {

using testing::HasSubstr;

AnswerRecord note_answer(const std::string& key, Grade grade, Mark mark, int right, int heard,
                         int interval, theory::Role role) {
  AnswerRecord answer;
  answer.item_key = key;
  answer.kind = Kind::find_the_note;
  answer.grade = grade;
  answer.tempo_bpm = 150.0;
  answer.speed_ratio = 0.6;
  answer.share_right = mark == Mark::tick ? 1.0 : mark == Mark::octave ? 0.5 : 0.0;
  answer.notes.push_back({0.0, mark, right, heard, role, interval});
  return answer;
}

std::vector<AnswerRecord> learning() {
  std::vector<AnswerRecord> answers;
  // Sixths down: wrong at first, right later. Thirds: right throughout.
  for (int i = 0; i < 10; ++i) {
    const bool has_learned = i >= 5;
    answers.push_back(note_answer("sixth", has_learned ? Grade::slow : Grade::missed,
                                  has_learned ? Mark::tick : Mark::up, 30, has_learned ? 30 : 28,
                                  -9, theory::Role::sixth));
    answers.push_back(
        note_answer("third", Grade::at_once, Mark::tick, 41, 41, 4, theory::Role::third));
  }
  for (int i = 0; i < 4; ++i)
    answers.push_back(
        note_answer("octave", Grade::missed, Mark::octave, 36, 48, i, theory::Role::root));
  return answers;
}

TEST(Progress, errors_that_go_away_are_seen) {
  const Progress progress = progress_of(learning());
  EXPECT_EQ(progress.answer_count, 24);
  EXPECT_EQ(progress.right_count, 15);
  const auto sixth =
      std::find_if(progress.by_interval.begin(), progress.by_interval.end(),
                   [](const Tally& tally) { return tally.name == "major sixth down"; });
  ASSERT_NE(sixth, progress.by_interval.end());
  EXPECT_EQ(sixth->early_right, 0);
  EXPECT_EQ(sixth->early_count, 5);
  EXPECT_EQ(sixth->late_right, 5);
  ASSERT_EQ(progress.by_tempo.size(), 1U);
  EXPECT_EQ(progress.by_tempo[0].name, "80 to 119");  // 150 at 60 %
  EXPECT_EQ(progress.by_register.front().name, "below A1");
  // Played C, heard C: the octave is another matter.
  const Confusion& notes = progress.notes;
  for (std::size_t i = 0; i < notes.names.size(); ++i) {
    if (notes.names[i] == "C") {
      EXPECT_EQ(notes.counts[i][i], 4);
    }
    if (notes.names[i] == "F#") {
      EXPECT_EQ(notes.counts[i][i], 5);
    }
  }
}

// Four items that fail after a fourth down, in different bars and registers, among items after
// other intervals that hold: they are one group, and the bar is no cause.
TEST(Progress, what_keeps_failing_is_grouped_by_its_cause) {
  std::vector<AnswerRecord> answers;
  const auto ask = [&](const std::string& key, bool is_right, int midi, int interval, Mark mark,
                       const char* tune_key) {
    for (int time = 0; time < 4; ++time) {
      AnswerRecord one =
          note_answer(key, is_right ? Grade::slow : Grade::missed, is_right ? Mark::tick : mark,
                      midi, midi + 1, interval, static_cast<theory::Role>(midi % 4));
      one.place = "bar 1, beat " + key;
      one.tune_key = tune_key;
      answers.push_back(std::move(one));
    }
  };
  for (int i = 0; i < 4; ++i)
    ask("fourth" + std::to_string(i), false, 30 + 5 * i, -5, Mark::up, "G");
  for (int i = 0; i < 8; ++i)
    ask("other" + std::to_string(i), true, 29 + 3 * i, 2 - i, Mark::up, "G");
  ask("octave1", false, 33, 4, Mark::octave, "G");
  ask("octave2", false, 45, 7, Mark::octave, "G");
  ask("lone", false, 38, 1, Mark::down, "G");
  const auto groups = troubles_of(answers);
  ASSERT_EQ(groups.size(), 3U);
  EXPECT_EQ(groups[0].cause, "always after a fourth down");
  ASSERT_EQ(groups[0].items.size(), 4U);
  EXPECT_EQ(groups[0].items[0].place, "bar 1, beat fourth0");
  EXPECT_EQ(groups[0].items[0].wrong_count, 4);
  EXPECT_EQ(groups[1].cause, "always the octave");
  EXPECT_EQ(groups[1].items.size(), 2U);
  EXPECT_EQ(groups[2].cause, "");
  EXPECT_EQ(groups[2].items.size(), 1U);
  const std::string text = progress_text(progress_of(answers));
  EXPECT_THAT(text,
              HasSubstr("Keeps failing, always after a fourth down:\n"
                        "  find the note, bar 1, beat fourth0, wrong 4 of the last 5 times\n"));

  // One key among several.
  answers.clear();
  for (int i = 0; i < 3; ++i) ask("flat" + std::to_string(i), false, 30 + 7 * i, i, Mark::up, "Db");
  for (int i = 0; i < 9; ++i) ask("sharp" + std::to_string(i), true, 29 + 3 * i, i, Mark::up, "A");
  ASSERT_EQ(troubles_of(answers).size(), 1U);
  EXPECT_EQ(troubles_of(answers)[0].cause, "always in the key of Db");

  // What everything has in common explains nothing: all of it is after a fourth down.
  answers.clear();
  for (int i = 0; i < 6; ++i) ask(std::to_string(i), i > 2, 30 + 7 * i, -5, Mark::up, "G");
  ASSERT_EQ(troubles_of(answers).size(), 1U);
  EXPECT_EQ(troubles_of(answers)[0].cause, "");
}

// Graded more mildly than missed, another octave is still no right answer, and it is the cause.
TEST(Progress, octaves_are_counted_apart_and_pointed_out) {
  std::vector<AnswerRecord> answers;
  for (int i = 0; i < 3; ++i) {
    for (const char* key : {"low", "high"}) {
      answers.push_back(
          note_answer(key, Grade::with_hints, Mark::octave, 36, 48, i, theory::Role::root));
    }
    answers.push_back(
        note_answer("held", Grade::with_hints, Mark::tick, 36, 36, i, theory::Role::root));
  }
  const Progress progress = progress_of(answers);
  EXPECT_EQ(progress.right_count, 3);
  ASSERT_EQ(progress.by_kind.size(), 1U);
  EXPECT_EQ(progress.by_kind[0].octave_count, 6);
  EXPECT_EQ(progress.by_tempo.at(0).octave_count, 6);
  ASSERT_EQ(progress.troubles.size(), 1U);
  EXPECT_EQ(progress.troubles[0].cause, "always the octave");
  EXPECT_EQ(progress.troubles[0].items.size(), 2U);
}

TEST(Progress, chords_are_confused_by_quality_and_by_what_was_heard_at_first) {
  const auto chord = [](const char* right, const char* heard) {
    AnswerRecord answer;
    answer.kind = Kind::name_the_chord;
    answer.right = right;
    answer.heard = heard;
    return answer;
  };
  std::vector<AnswerRecord> answers{chord("Cm7", "C7"), chord("Fm7/C", "Bb7"), chord("G7", "G7"),
                                    chord("Am7", "nothing")};
  // Right at the second try: at first it was heard as a plain triad.
  answers.push_back(chord("D7", "D7"));
  answers.back().first_try = FirstTry{0.6, "D", {}};
  const Confusion chords = progress_of(answers).chords;
  ASSERT_EQ(chords.names.size(), 3U);
  const auto index = [&](const char* name) {
    return static_cast<std::size_t>(std::find(chords.names.begin(), chords.names.end(), name) -
                                    chords.names.begin());
  };
  ASSERT_LT(index("major"), 3U);
  EXPECT_EQ(chords.counts[index("m7")][index("7")], 2);
  EXPECT_EQ(chords.counts[index("7")][index("7")], 1);
  EXPECT_EQ(chords.counts[index("7")][index("major")], 1);
}

TEST(Progress, plots_are_whole_files_of_their_kind) {
  std::string folder = (std::filesystem::temp_directory_path() / "lowstride-plot-XXXXXX").string();
  ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  const std::filesystem::path in = folder;
  for (const auto& answers : {learning(), std::vector<AnswerRecord>{}}) {
    ASSERT_TRUE(draw_progress(progress_of(answers), "Mia", in / "p.svg"));
    ASSERT_TRUE(draw_progress(progress_of(answers), "Mia", in / "p.png"));
    const auto bytes = [&](const char* name) {
      std::ifstream stream(in / name, std::ios::binary);
      return std::string(std::istreambuf_iterator<char>(stream), {});
    };
    EXPECT_THAT(bytes("p.svg"), HasSubstr("<svg"));
    EXPECT_THAT(bytes("p.svg"), HasSubstr("</svg>"));
    // PNG, ISO/IEC 15948: the signature, and IEND as the last chunk.
    EXPECT_EQ(bytes("p.png").substr(0, 8), "\x89PNG\r\n\x1a\n");
    EXPECT_EQ(bytes("p.png").substr(bytes("p.png").size() - 8, 4), "IEND");
  }
  EXPECT_FALSE(draw_progress(progress_of({}), "Mia", in / "p.gif"));
  EXPECT_FALSE(draw_progress(progress_of({}), "Mia", in / "no" / "p.svg"));
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace lowstride::drill
