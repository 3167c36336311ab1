#include <cmath>
#include <cstdint>
#include <fstream>
#include <iterator>
#include <string>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class Slow : public CommandTest {
 protected:
  /// Samples of a mono 16-bit WAV file: the length of its `data` chunk (Microsoft & IBM,
  /// "Multimedia Programming Interface and Data Specifications 1.0", 1991: a chunk is four letters,
  /// its length in four bytes, little-endian, and its contents).
  [[nodiscard]] long long sample_count(const std::string& name) const {
    std::ifstream stream(in_folder(name), std::ios::binary);
    const std::string bytes((std::istreambuf_iterator<char>(stream)), {});
    for (std::size_t at = 12; at + 8 <= bytes.size();) {
      std::uint32_t length = 0;
      for (std::size_t i = 4; i-- > 0;) {
        length = (length << 8U) | static_cast<unsigned char>(bytes[at + 4 + i]);
      }
      if (bytes.compare(at, 4, "data") == 0) return length / 2;
      at += 8 + length + length % 2;
    }
    return -1;
  }
};

TEST_F(Slow, output_is_exact_to_the_sample) {
  const auto sound = plucked_line({{0.2, 1.0, 33}, {1.3, 1.0, 40}}, 2.50001);
  write_wav(in_folder("line.wav"), sound);
  const std::vector<std::pair<std::string, double>> speeds{
      {"50%", 0.5}, {"0.75", 0.75}, {"80", 0.8}, {"150%", 1.5}, {"20%", 0.2}};
  for (const auto& [text, ratio] : speeds) {
    const Outcome outcome =
        run({"slow", in_folder("line.wav"), "--speed", text, "-o", in_folder("out.wav")});
    ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
    const auto expected = std::llround(static_cast<double>(sound.size()) / ratio);
    EXPECT_EQ(sample_count("out.wav"), expected) << text;
  }
}

TEST_F(Slow, a_stretch_of_the_recording_can_be_slowed) {
  write_wav(in_folder("line.wav"), plucked_line({{0.2, 1.0, 33}, {1.3, 1.0, 40}}, 3.0));
  const Outcome outcome = run({"slow", in_folder("line.wav"), "--speed", "50%", "--from", "1",
                               "--to", "0:02", "-o", in_folder("out.wav")});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(sample_count("out.wav"), 88200);
}

TEST_F(Slow, nonsense_is_refused_in_one_sentence) {
  write_wav(in_folder("line.wav"), plucked_line({{0.2, 1.0, 33}}, 3.0));
  for (const std::string speed : {"0", "-50%", "nan", "abc", "5", "300%", ""}) {
    const Outcome outcome =
        run({"slow", in_folder("line.wav"), "--speed=" + speed, "-o", in_folder("out.wav")});
    EXPECT_TRUE(outcome.exit_code == 1 || outcome.exit_code == 2) << speed;
    EXPECT_NE(outcome.err, "") << speed;
  }
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--from", "10", "-o",
                      in_folder("out.wav")}),
                 "line.wav");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "-o", in_folder("out.doc")}),
                 "out.doc");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--passage", "intro", "-o",
                      in_folder("out.wav")}),
                 "line.wav");
  EXPECT_EQ(names(), (std::vector<std::string>{"line.wav"}));
}

}  // namespace
}  // namespace lowstride::cli_test
