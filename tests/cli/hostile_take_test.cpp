// Takes and recordings from a stranger.
#include <fstream>
#include <iterator>
#include <sstream>

#include <nlohmann/json.hpp>

#include "src/take/storage.hpp"
#include "src/take/take_json.hpp"
#include "tests/cli/command_run.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::cli_test {
namespace {

class HostileTake : public CommandTest {
 protected:
  [[nodiscard]] std::string bytes_of(const std::string& name) const {
    std::ifstream stream(in_folder(name), std::ios::binary);
    return {std::istreambuf_iterator<char>(stream), {}};
  }
};

/// Bytes that steer a terminal: all control characters but line ends, those of C1 in UTF-8 too.
std::string controls_in(const std::string& text) {
  std::ostringstream found;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    const bool is_c1 = byte == 0xC2 && i + 1 < text.size() &&
                       (static_cast<unsigned char>(text[i + 1]) & 0xE0U) == 0x80U;
    if ((byte < 0x20 && byte != '\n') || byte == 0x7F || is_c1) found << i << ' ';
  }
  return found.str();
}

// ECMA-48: ESC [ 2 J clears the screen, ESC ] 0 ; … BEL names the window, CSI is also C2 9B.
constexpr const char* evil =
    "\x1b[2J\x1b]0;owned\x07 \xC2\x9B"
    "31m\x7F\r\b";

TEST_F(HostileTake, control_characters_in_its_texts_never_reach_the_terminal) {
  take::Take take = take::testing_help::example_take();
  take.passages.push_back({take::PassageId{take.next_id++}, "bridge", 24000, 48000, {}});
  // A take of ours holds none; so the text of the file is changed.
  auto json = nlohmann::json::parse(take::take_to_json(take));
  json["title"] = evil;
  json["composer"] = evil;
  json["form"] = evil;
  for (auto& passage : json["passages"]) passage["name"] = evil;
  std::ofstream(in_folder("evil.take")) << json.dump();
  const std::string path = in_folder("evil.take");
  // A recording of such a name is refused.
  json["recording"]["path"] = std::string(evil) + ".wav";
  std::ofstream(in_folder("refused.take")) << json.dump();
  int told = 0;
  for (const std::vector<std::string>& words : std::vector<std::vector<std::string>>{
           {"export", path, "--format", "text"},
           {"list", folder_.string()},
           {"export", in_folder("refused.take"), "--format", "text"},
           {"slow", path, "--speed", "50%", "-o", in_folder("slow.wav")},
           {"slow", path, "--speed", "50%", "--passage", evil, "-o", in_folder("slow.wav")},
           {"compare", path, path},
           {"drill", path, "--silent"},
           {"edit", path, "--title", evil},
           {"edit", path, "--remove-passage", evil},
           {"export", path, "--format", "text", "--passage", "none"}}) {
    const Outcome outcome = run(words);
    EXPECT_EQ(controls_in(outcome.out), "") << words.front() << ": " << outcome.out;
    EXPECT_EQ(controls_in(outcome.err), "") << words.front() << ": " << outcome.err;
    EXPECT_NE(outcome.out + outcome.err, "");
    told += outcome.exit_code == 0 ? 1 : 0;
  }
  EXPECT_GE(told, 2);
}

TEST_F(HostileTake, control_characters_in_tags_never_reach_the_terminal) {
  write_wav(in_folder("tagged.wav"), plucked_line({{0.2, 0.9, 33}, {1.2, 0.9, 40}}, 2.2));
  std::string bytes = bytes_of("tagged.wav");
  // A list of facts at the end: LIST, its size, INFO, then INAM (the title) with its size
  // (Microsoft & IBM, "Multimedia Programming Interface and Data Specifications 1.0", 1991).
  std::string title = evil;
  title.resize(title.size() + 2 - title.size() % 2);
  const auto le32 = [](std::size_t value) {
    std::string text;
    for (int i = 0; i < 4; ++i) text += static_cast<char>((value >> (8 * i)) & 0xFFU);
    return text;
  };
  bytes += "LIST" + le32(12 + title.size()) + "INFOINAM" + le32(title.size()) + title;
  bytes.replace(4, 4, le32(bytes.size() - 8));
  std::ofstream(in_folder("tagged.wav"), std::ios::binary) << bytes;
  const Outcome outcome = run({"lift", in_folder("tagged.wav"), "--tempo", "60"});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(controls_in(outcome.out), "") << outcome.out;
  EXPECT_EQ(controls_in(outcome.err), "") << outcome.err;
  EXPECT_NE(outcome.out.find("owned"), std::string::npos) << "the title was not read at all";
  EXPECT_EQ(controls_in(bytes_of("tagged.take")), "");
}

// A take may name any file as its recording. One outside its folder counts only if its bytes are
// those that the take knows, and then it is said.
TEST_F(HostileTake, a_recording_outside_its_folder_is_said) {
  write_wav(in_folder("line.wav"), plucked_line({{0.2, 0.9, 33}, {1.2, 0.9, 40}}, 2.2));
  std::filesystem::create_directory(in_folder("takes"));
  const std::string take = in_folder("takes/line.take");
  const std::string out = in_folder("out.wav");
  ASSERT_EQ(run({"lift", in_folder("line.wav"), "--tempo", "60", "-o", take}).exit_code, 0);
  const Outcome outcome = run({"slow", take, "--speed", "50%", "-o", out});
  EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_NE(outcome.err.find("outside its folder"), std::string::npos) << outcome.err;
  write_wav(in_folder("line.wav"), plucked_line({{0.3, 0.9, 35}}, 2.2));
  expect_refused(run({"slow", take, "--speed", "50%", "-o", out}), "line.wav");
}

}  // namespace
}  // namespace lowstride::cli_test
