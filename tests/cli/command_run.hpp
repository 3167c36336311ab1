#pragma once

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace lowstride::cli_test {

struct Outcome {
  int exit_code = -1;  // 128 + signal when a signal ended it
  std::string out;
  std::string err;
};

struct RunOptions {
  std::optional<int> signal_number;  // sent after `signal_after`
  std::chrono::milliseconds signal_after{0};
  std::optional<unsigned long> largest_file_bytes;  // a disk that fills
  std::filesystem::path input = "/dev/null";        // what is typed
  void (*in_child)() = nullptr;                     // called before the command begins
};

/// Runs the built `lowstride` with these words and waits for its end.
[[nodiscard]] Outcome run(const std::vector<std::string>& words, const RunOptions& options = {});

/// A mono or stereo WAV file of 16 bits.
void write_wav(const std::filesystem::path& path, const std::vector<float>& samples,
               int rate_hz = 44100);

/// Plucked strings: decaying partials that fall off as 1/k, one note after another.
struct Pluck {
  double onset_seconds;
  double length_seconds;
  int midi;
};
[[nodiscard]] std::vector<float> plucked_line(const std::vector<Pluck>& line, double seconds,
                                              int rate_hz = 44100);

/// Number of lines of a text that are not empty.
[[nodiscard]] std::size_t line_count(const std::string& text);

/// The rows of a tab-separated file, cell by cell, without the heading.
[[nodiscard]] std::vector<std::vector<std::string>> rows_of(const std::filesystem::path& path);

/// A folder of its own for each test, with caches and settings inside.
class CommandTest : public testing::Test {
 protected:
  void SetUp() override;
  void TearDown() override;
  [[nodiscard]] std::string in_folder(const std::string& name) const {
    return (folder_ / name).string();
  }
  /// Names in the folder, in order, without the cache.
  [[nodiscard]] std::vector<std::string> names() const;

  std::filesystem::path folder_;
};

/// Fails unless the command failed as the contract says: exit 1, nothing on standard output, one
/// sentence on standard error that names `name`.
void expect_refused(const Outcome& outcome, const std::string& name);

}  // namespace lowstride::cli_test
