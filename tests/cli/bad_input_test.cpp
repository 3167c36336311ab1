#include <unistd.h>

#include <cmath>
#include <csignal>
#include <fstream>
#include <limits>
#include <random>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class BadInput : public CommandTest {
 protected:
  void put(const std::string& name, const std::string& bytes) const {
    std::ofstream(in_folder(name), std::ios::binary) << bytes;
  }
  /// `lift` refuses the file by name and leaves nothing beside it.
  void expect_lift_refuses(const std::string& name) const {
    const auto before = names();
    const Outcome outcome = run({"lift", in_folder(name)});
    expect_refused(outcome, name);
    EXPECT_EQ(names(), before) << name;
  }
  void expect_empty_line(const std::string& name) const {
    const Outcome outcome = run({"lift", in_folder(name)});
    EXPECT_EQ(outcome.exit_code, 0) << name << ": " << outcome.err;
    ASSERT_EQ(run({"export", in_folder(name.substr(0, name.rfind('.')) + ".take"), "--format",
                   "tables", "-o", in_folder("table")})
                  .exit_code,
              0);
    EXPECT_EQ(rows_of(in_folder("table.notes.tsv")).size(), 0U) << name;
    EXPECT_NE(outcome.out.find("no low line was found"), std::string::npos)
        << name << ": " << outcome.out;
  }
};

TEST_F(BadInput, what_is_no_recording_is_refused_by_name) {
  put("empty.wav", "");
  put("letter.wav", "Dear pupil, this is no sound at all.\n");
  put("header.wav",
      std::string("RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x44\xAC\0\0\x88\x58\1\0\2\0\x10\0",
                  36) +
          std::string("data\0\0\0\0", 8));
  put("noise.mp3", std::string(5000, '\xA7'));
  std::filesystem::create_directory(in_folder("folder.wav"));
  for (const std::string name :
       {"empty.wav", "letter.wav", "header.wav", "noise.mp3", "folder.wav", "nowhere.wav"}) {
    expect_lift_refuses(name);
  }
}

TEST_F(BadInput, a_recording_under_two_seconds_is_refused) {
  write_wav(in_folder("short.wav"), std::vector<float>(44100, 0.1F));
  expect_lift_refuses("short.wav");
}

TEST_F(BadInput, an_unreadable_file_is_refused) {
  if (::geteuid() == 0) GTEST_SKIP() << "root reads everything";
  write_wav(in_folder("locked.wav"), std::vector<float>(100000, 0.1F));
  std::filesystem::permissions(in_folder("locked.wav"), std::filesystem::perms::none);
  expect_lift_refuses("locked.wav");
}

TEST_F(BadInput, truncated_sound_is_used_and_the_loss_stated) {
  write_wav(in_folder("cut.wav"),
            plucked_line({{0.5, 1.0, 33}, {1.5, 1.0, 35}, {2.5, 1.0, 36}}, 6.0));
  std::filesystem::resize_file(in_folder("cut.wav"), 2 * 44100 * 4);
  const Outcome outcome = run({"lift", in_folder("cut.wav")});
  EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_NE(outcome.err.find("cut.wav"), std::string::npos) << outcome.err;
  EXPECT_EQ(names(), (std::vector<std::string>{"cut.take", "cut.wav"}));
}

TEST_F(BadInput, a_disk_that_fills_loses_nothing) {
  write_wav(in_folder("line.wav"), plucked_line({{0.5, 1.0, 33}, {1.5, 1.0, 35}}, 4.0));
  const Outcome slow =
      run({"slow", in_folder("line.wav"), "--speed", "50%", "-o", in_folder("slow.wav")},
          {.signal_number = {}, .largest_file_bytes = 100000});
  expect_refused(slow, "slow.wav");
  EXPECT_EQ(names(), (std::vector<std::string>{"line.wav"}));
}

TEST_F(BadInput, nothing_is_invented_where_there_is_no_low_voice) {
  const std::size_t count = 44100 * 6;
  write_wav(in_folder("silence.wav"), std::vector<float>(count, 0.0F));
  write_wav(in_folder("direct.wav"), std::vector<float>(count, 0.4F));
  std::mt19937 random(7);  // NOLINT: the same noise every time
  std::normal_distribution<float> normal(0.0F, 0.1F);
  std::vector<float> noise(count);
  for (float& value : noise) value = normal(random);
  write_wav(in_folder("noise.wav"), noise);
  std::vector<float> drums(count, 0.0F);
  for (std::size_t n = 0; n < count; ++n) {
    const double t = static_cast<double>(n % 22050) / 44100.0;
    drums[n] = 3.0F * noise[n] * static_cast<float>(std::exp(-40.0 * t));
  }
  write_wav(in_folder("drums.wav"), drums);
  for (const std::string name : {"silence.wav", "direct.wav", "noise.wav", "drums.wav"}) {
    expect_empty_line(name);
  }
}

TEST_F(BadInput, hints_that_make_no_sense_are_refused) {
  write_wav(in_folder("line.wav"), plucked_line({{0.5, 1.0, 33}, {1.5, 1.0, 35}}, 4.0));
  put("chart.txt", "| F7 | Hello7 |\n");
  const std::string wav = in_folder("line.wav");
  const std::vector<std::vector<std::string>> wrong{
      {"lift", wav, "--key", "H"},          {"lift", wav, "--first-bar", "soon"},
      {"lift", wav, "--first-bar", "b3"},   {"lift", wav, "--from", "3", "--to", "2"},
      {"lift", wav, "--octave", "up"},      {"lift", wav, "--instrument", "kazoo"},
      {"lift", wav, "--tuning", "E1 A9 Q"}, {"lift", wav, "--chords", in_folder("chart.txt")},
      {"lift", wav, "--from", "100"}};
  for (const auto& words : wrong) {
    const Outcome outcome = run(words);
    EXPECT_EQ(outcome.exit_code, 1) << testing::PrintToString(words);
    EXPECT_EQ(line_count(outcome.err), 1U) << outcome.err;
  }
  EXPECT_EQ(names(), (std::vector<std::string>{"chart.txt", "line.wav"}));
}

TEST_F(BadInput, an_interrupt_leaves_nothing_behind) {
  write_wav(in_folder("long.wav"), std::vector<float>(44100 * 240, 0.01F));
  const Outcome outcome =
      run({"lift", in_folder("long.wav")}, {.signal_number = SIGINT,
                                            .signal_after = std::chrono::milliseconds(150),
                                            .largest_file_bytes = {}});
  EXPECT_EQ(outcome.exit_code, 130) << outcome.err;
  EXPECT_EQ(names(), (std::vector<std::string>{"long.wav"}));
}

TEST_F(BadInput, a_take_of_another_recording_is_never_replaced) {
  write_wav(in_folder("line.wav"), plucked_line({{0.5, 1.0, 33}, {1.5, 1.0, 35}}, 4.0));
  ASSERT_EQ(run({"lift", in_folder("line.wav")}).exit_code, 0);
  std::ifstream stream(in_folder("line.take"));
  const std::string before((std::istreambuf_iterator<char>(stream)), {});
  write_wav(in_folder("line.wav"), plucked_line({{0.5, 1.0, 40}, {1.5, 1.0, 35}}, 5.0));
  const Outcome outcome = run({"lift", in_folder("line.wav")});
  expect_refused(outcome, "line.take");
  EXPECT_NE(outcome.err.find("-o"), std::string::npos) << outcome.err;
  std::ifstream again(in_folder("line.take"));
  EXPECT_EQ(std::string((std::istreambuf_iterator<char>(again)), {}), before);
}

}  // namespace
}  // namespace lowstride::cli_test
