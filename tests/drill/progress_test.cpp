#include "src/drill/progress.hpp"

#include <stdlib.h>

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

TEST(Progress, what_keeps_failing_is_pointed_out_with_its_cause) {
  const Progress progress = progress_of(learning());
  ASSERT_EQ(progress.troubles.size(), 1U);
  EXPECT_EQ(progress.troubles[0].item_key, "octave");
  EXPECT_EQ(progress.troubles[0].missed_count, 4);
  EXPECT_EQ(progress.troubles[0].cause, "always the octave");
  EXPECT_THAT(progress_text(progress), HasSubstr("always the octave"));
  const auto wrong = [](int interval, int midi, theory::Role role) {
    return NoteRecord{0.0, Mark::up, midi, 30, role, interval};
  };
  using theory::Role;
  EXPECT_THAT(common_cause(std::vector{wrong(-5, 40, Role::root), wrong(-5, 50, Role::fifth),
                                       wrong(-5, 30, Role::third)}),
              HasSubstr("fourth down"));
  EXPECT_THAT(common_cause(std::vector{wrong(-5, 40, Role::seventh), wrong(2, 50, Role::seventh),
                                       wrong(3, 30, Role::seventh)}),
              HasSubstr("seventh"));
  EXPECT_THAT(common_cause(std::vector{wrong(-5, 29, Role::root), wrong(2, 30, Role::fifth),
                                       wrong(3, 31, Role::third)}),
              HasSubstr("below A1"));
  EXPECT_EQ(common_cause(std::vector{wrong(-5, 29, Role::root), wrong(2, 50, Role::fifth)}), "");
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
