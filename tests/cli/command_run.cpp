#include "tests/cli/command_run.hpp"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <csignal>
#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <numbers>
#include <sstream>
#include <thread>

namespace lowstride::cli_test {
namespace {

std::string contents(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

[[noreturn]] void become_command(const std::vector<std::string>& words, const RunOptions& options,
                                 const std::string& out, const std::string& err) {
  const auto redirect = [](const char* path, int flags, int target) {
    const int file = ::open(path, flags, 0600);
    if (file < 0 || ::dup2(file, target) < 0) ::_exit(99);
  };
  redirect(options.input.c_str(), O_RDONLY, STDIN_FILENO);
  redirect(out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, STDOUT_FILENO);
  redirect(err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, STDERR_FILENO);
  if (options.largest_file_bytes) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{*options.largest_file_bytes, *options.largest_file_bytes};
    ::setrlimit(RLIMIT_FSIZE, &limit);
  }
  std::vector<char*> arguments;
  static const char command[] = LOWSTRIDE_COMMAND;
  if (options.in_child != nullptr) options.in_child();
  arguments.push_back(const_cast<char*>(command));
  for (const auto& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  ::execv(command, arguments.data());
  ::_exit(98);
}

}  // namespace

Outcome run(const std::vector<std::string>& words, const RunOptions& options) {
  std::string pattern = (std::filesystem::temp_directory_path() / "lowstride-run-XXXXXX").string();
  if (::mkdtemp(pattern.data()) == nullptr) return {};
  const std::string out = pattern + "/out";
  const std::string err = pattern + "/err";
  const pid_t child = ::fork();
  if (child == 0) become_command(words, options, out, err);
  if (options.signal_number) {
    std::this_thread::sleep_for(options.signal_after);
    ::kill(child, *options.signal_number);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  Outcome outcome;
  outcome.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  outcome.out = contents(out);
  outcome.err = contents(err);
  std::filesystem::remove_all(pattern);
  return outcome;
}

void write_wav(const std::filesystem::path& path, const std::vector<float>& samples, int rate_hz) {
  std::string bytes;
  const auto put = [&bytes](std::uint32_t value, int count) {
    for (int i = 0; i < count; ++i) bytes += static_cast<char>((value >> (8 * i)) & 0xFFU);
  };
  const auto size = static_cast<std::uint32_t>(2 * samples.size());
  bytes += "RIFF";
  put(36 + size, 4);
  bytes += "WAVEfmt ";
  put(16, 4);
  put(1, 2);
  put(1, 2);
  put(static_cast<std::uint32_t>(rate_hz), 4);
  put(static_cast<std::uint32_t>(2 * rate_hz), 4);
  put(2, 2);
  put(16, 2);
  bytes += "data";
  put(size, 4);
  for (const float value : samples) {
    const long whole = std::lround(std::clamp(value, -1.0F, 1.0F) * 32767.0F);
    put(static_cast<std::uint32_t>(static_cast<std::int32_t>(whole)), 2);
  }
  std::ofstream(path, std::ios::binary) << bytes;
}

std::vector<float> plucked_line(const std::vector<Pluck>& line, double seconds, int rate_hz) {
  std::vector<float> sound(static_cast<std::size_t>(seconds * rate_hz), 0.0F);
  for (const Pluck& pluck : line) {
    const double f0 = 440.0 * std::exp2((pluck.midi - 69) / 12.0);
    const auto first = static_cast<std::size_t>(pluck.onset_seconds * rate_hz);
    const auto count = static_cast<std::size_t>(pluck.length_seconds * rate_hz);
    for (std::size_t n = 0; n < count && first + n < sound.size(); ++n) {
      const double t = static_cast<double>(n) / rate_hz;
      const double left = static_cast<double>(count - n) / rate_hz;
      double value = 0.0;
      for (int k = 1; k <= 8; ++k) {
        const double stiff = k * f0 * std::sqrt(1.0 + 5e-5 * k * k);
        value += std::exp(-t * (1.0 + 0.6 * k)) / k * std::sin(2.0 * std::numbers::pi * stiff * t);
      }
      const double fade = std::min({1.0, t / 0.004, left / 0.01});
      sound[first + n] += static_cast<float>(0.3 * fade * value);
    }
  }
  return sound;
}

std::size_t line_count(const std::string& text) {
  std::istringstream stream(text);
  std::size_t count = 0;
  for (std::string line; std::getline(stream, line);) count += line.empty() ? 0 : 1;
  return count;
}

std::vector<std::vector<std::string>> rows_of(const std::filesystem::path& path) {
  std::ifstream stream(path);
  std::vector<std::vector<std::string>> rows;
  std::string line;
  std::getline(stream, line);
  while (std::getline(stream, line)) {
    std::vector<std::string> cells;
    std::istringstream text(line);
    for (std::string cell; std::getline(text, cell, '\t');) cells.push_back(cell);
    rows.push_back(cells);
  }
  return rows;
}

void CommandTest::SetUp() {
  std::string pattern = (std::filesystem::temp_directory_path() / "lowstride-cli-XXXXXX").string();
  ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
  folder_ = pattern;
  ::setenv("XDG_CACHE_HOME", in_folder("cache").c_str(), 1);
  ::setenv("XDG_CONFIG_HOME", in_folder("cache").c_str(), 1);
  ::setenv("XDG_DATA_HOME", in_folder("data").c_str(), 1);
}

void CommandTest::TearDown() { std::filesystem::remove_all(folder_); }

std::vector<std::string> CommandTest::names() const {
  std::vector<std::string> found;
  for (const auto& entry : std::filesystem::directory_iterator(folder_)) {
    if (entry.path().filename() != "cache") found.push_back(entry.path().filename().string());
  }
  std::sort(found.begin(), found.end());
  return found;
}

void expect_refused(const Outcome& outcome, const std::string& name) {
  EXPECT_EQ(outcome.exit_code, 1) << outcome.err;
  EXPECT_EQ(outcome.out, "");
  EXPECT_EQ(line_count(outcome.err), 1U) << outcome.err;
  EXPECT_NE(outcome.err.find(name), std::string::npos) << outcome.err;
  EXPECT_TRUE(outcome.err.ends_with(".\n")) << outcome.err;
}

}  // namespace lowstride::cli_test
