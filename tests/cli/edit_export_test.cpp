#include <fstream>
#include <sstream>

#include <nlohmann/json.hpp>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class EditAndExport : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    std::vector<Pluck> line;
    const std::vector<int> midi{33, 35, 36, 38, 40, 38, 36, 35, 33, 35, 36, 38};
    for (std::size_t i = 0; i < midi.size(); ++i) {
      line.push_back({0.5 + 0.5 * static_cast<double>(i), 0.47, midi[i]});
    }
    write_wav(in_folder("line.wav"), plucked_line(line, 7.0));
    ASSERT_EQ(run({"lift", in_folder("line.wav")}).exit_code, 0);
  }
  [[nodiscard]] std::string text_of(const std::string& name) const {
    std::ifstream stream(in_folder(name));
    return {(std::istreambuf_iterator<char>(stream)), {}};
  }
};

TEST_F(EditAndExport, all_operations_of_a_call_or_none) {
  const std::string before = text_of("line.take");
  const Outcome outcome =
      run({"edit", in_folder("line.take"), "--title", "Ferry Slip", "--set-note", "1.7=H9"});
  expect_refused(outcome, "H9");
  EXPECT_EQ(text_of("line.take"), before);
}

// A correction reads its surroundings again: what stands unconfirmed may move, what a person said
// stays, and one undo takes all of it back (the file before is NAME.take.bak).
TEST_F(EditAndExport, a_correction_keeps_what_is_confirmed_around_it) {
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--confirm", "0.4..2.0"}).exit_code, 0);
  const auto tables = [&] {
    EXPECT_EQ(run({"export", in_folder("line.take"), "--format", "tables", "-o", in_folder("t")})
                  .exit_code,
              0);
    return rows_of(in_folder("t.notes.tsv"));
  };
  const auto before = tables();
  const std::string file_before = text_of("line.take");
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--set-note", "3.6=Gb2"}).exit_code, 0);
  const auto after = tables();
  ASSERT_EQ(after.size(), before.size());
  for (std::size_t i = 0; i < after.size(); ++i) {
    if (before[i][8] == "confirmed") {
      EXPECT_EQ(after[i], before[i]);
    }
    const bool is_corrected = std::stod(after[i][0]) > 3.4 && std::stod(after[i][0]) < 3.6;
    EXPECT_EQ(after[i][2], is_corrected ? "42" : before[i][2]) << "note " << i;
  }
  EXPECT_EQ(text_of("line.take.bak"), file_before);
}

TEST_F(EditAndExport, versions_are_listed_and_come_back) {
  EXPECT_EQ(run({"edit", in_folder("line.take"), "--versions"}).out, "No version was kept yet.\n");
  for (const char* title : {"one", "two"}) {
    ASSERT_EQ(run({"edit", in_folder("line.take"), "--title", title}).exit_code, 0);
  }
  const std::string last = text_of("line.take");
  const Outcome listed = run({"edit", in_folder("line.take"), "--versions"});
  EXPECT_EQ(listed.exit_code, 0) << listed.err;
  EXPECT_EQ(line_count(listed.out), 2U) << listed.out;
  // Saved last first: 1 is "one", 2 the take as it was lifted.
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--back-to", "1"}).exit_code, 0);
  EXPECT_NE(text_of("line.take").find("\"one\""), std::string::npos);
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--back-to", "1"}).exit_code, 0);
  EXPECT_EQ(text_of("line.take"), last) << "it was saved last, so it is the first in the list";
  expect_refused(run({"edit", in_folder("line.take"), "--back-to", "7"}), "7");
  EXPECT_EQ(run({"edit", in_folder("line.take"), "--back-to", "0"}).exit_code, 2);
  EXPECT_EQ(run({"edit", in_folder("line.take"), "--back-to", "1", "--title", "x"}).exit_code, 2);
}

TEST_F(EditAndExport, names_passages_and_exports_every_format) {
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--confirm", "all", "--title", "Ferry Slip",
                 "--passage", "walk up=0.4..2.6", "--set-chord", "1.0=Am7"})
                .exit_code,
            0);
  const auto take = nlohmann::json::parse(text_of("line.take"));
  EXPECT_EQ(take.at("title"), "Ferry Slip");
  const Outcome tab = run({"export", in_folder("line.take"), "--format", "text"});
  EXPECT_EQ(tab.exit_code, 0);
  EXPECT_NE(tab.out.find("Ferry Slip"), std::string::npos);
  EXPECT_NE(tab.out.find("Am7"), std::string::npos) << tab.out;
  const Outcome passage =
      run({"export", in_folder("line.take"), "--format", "text", "--passage", "walk up"});
  EXPECT_EQ(passage.exit_code, 0);
  EXPECT_LT(passage.out.size(), tab.out.size());
  ASSERT_EQ(run({"export", in_folder("line.take"), "--format", "midi", "-o", in_folder("line.mid")})
                .exit_code,
            0);
  EXPECT_TRUE(text_of("line.mid").starts_with("MThd"));
  ASSERT_EQ(run({"export", in_folder("line.take"), "--format", "musicxml", "-o",
                 in_folder("line.musicxml")})
                .exit_code,
            0);
  EXPECT_NE(text_of("line.musicxml").find("<score-partwise version=\"4.0\""), std::string::npos);
  ASSERT_EQ(run({"export", in_folder("line.take"), "--format", "tables", "-o", in_folder("line")})
                .exit_code,
            0);
  for (const auto& row : rows_of(in_folder("line.notes.tsv"))) {
    ASSERT_EQ(row.size(), 9U);
    EXPECT_EQ(row[8], "confirmed");
  }
  const Outcome slow = run({"slow", in_folder("line.take"), "--speed", "50%", "--passage",
                            "walk up", "-o", in_folder("walk.wav")});
  EXPECT_EQ(slow.exit_code, 0) << slow.err;
}

TEST_F(EditAndExport, a_moved_recording_is_found_beside_the_take_or_asked_for) {
  std::filesystem::create_directory(in_folder("new"));
  std::filesystem::rename(in_folder("line.take"), in_folder("new/line.take"));
  const Outcome lost =
      run({"slow", in_folder("new/line.take"), "--speed", "50%", "-o", in_folder("out.wav")});
  expect_refused(lost, "line.wav");
  std::filesystem::rename(in_folder("line.wav"), in_folder("new/line.wav"));
  EXPECT_EQ(run({"slow", in_folder("new/line.take"), "--speed", "50%", "-o", in_folder("out.wav")})
                .exit_code,
            0);
}

TEST_F(EditAndExport, a_take_of_a_newer_version_is_refused_and_left_alone) {
  auto take = nlohmann::json::parse(text_of("line.take"));
  take["version"] = 1000;
  std::ofstream(in_folder("line.take")) << take.dump();
  const std::string before = text_of("line.take");
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"export", in_folder("line.take"), "--format", "text"},
        {"edit", in_folder("line.take"), "--confirm", "all"},
        {"lift", in_folder("line.wav")}}) {
    expect_refused(run(words), "line.take");
    EXPECT_EQ(text_of("line.take"), before);
  }
}

}  // namespace
}  // namespace lowstride::cli_test
