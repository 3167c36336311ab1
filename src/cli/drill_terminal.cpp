#include "src/cli/drill_terminal.hpp"

#include <poll.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string_view>

#include <fmt/format.h>

#include "src/drill/answer_text.hpp"

namespace lowstride::cli {
namespace {

void say(const drill::Turn& turn) {
  for (const std::string& line : turn.says) fmt::print("{}\n", printable(line));
  if (turn.lost) remark(*turn.lost);
  std::fflush(stdout);
}

void prompt(const char* text) {
  fmt::print("{}", text);
  std::fflush(stdout);
}

std::string trimmed(const std::string& line) {
  const std::size_t first = line.find_first_not_of(" \t\r");
  if (first == std::string::npos) return {};
  return line.substr(first, line.find_last_not_of(" \t\r") - first + 1);
}

class Leader {
 public:
  Leader(drill::Session& session, const Sounding& sounding, const Hearing& hearing)
      : session_(session), sounding_(sounding), hearing_(hearing) {}

  ExitCode lead() {
    show(session_.begin(present_moment()));
    while (session_.phase() != drill::Phase::done) {
      const bool goes_on = session_.phase() == drill::Phase::asking ? ask() : wait();
      if (!goes_on) show(session_.stop(present_moment()));
    }
    const bool is_interrupted = interrupt_flag().load();
    return has_lost_ ? ExitCode::failed : is_interrupted ? ExitCode::interrupted : ExitCode::done;
  }

 private:
  void show(const drill::Turn& turn) {
    say(turn);
    has_lost_ = has_lost_ || turn.lost.has_value();
    if (turn.sounds.empty()) return;
    sounding_(turn.sounds);
    session_.sound_ended(present_moment());
  }

  bool wait() {
    prompt("[Enter] ");
    const auto line = read_line();
    if (!line || trimmed(*line) == "q") return false;
    fmt::print("\n");
    helped_ = false;
    show(session_.go_on(present_moment()));
    return true;
  }

  bool ask() {
    if (const auto heard = hearing_(session_)) {
      if (*heard) {
        show(session_.answer(**heard, present_moment()));
        return true;
      }
      remark(heard->error().message);
      if (interrupt_flag().load()) return false;
    }
    if (!helped_) fmt::print("Say {}.\n", drill::answer_help(session_.item()));
    helped_ = true;
    prompt("> ");
    const auto line = read_line();
    if (!line) return false;
    const std::string text = trimmed(*line);
    const drill::Moment now = present_moment();
    if (text == "q") return false;
    if (text.empty()) {
      show(session_.hear_again(now));
    } else if (text == "?") {
      show(session_.hint(now));
    } else if (text == "!") {
      show(session_.answer(drill::GiveUp{}, now));
    } else if (const auto answer = drill::parse_answer(session_.item(), text)) {
      show(session_.answer(*answer, now));
    } else {
      fmt::print("{}\n", printable(answer.error().message));
    }
    return true;
  }

  drill::Session& session_;
  const Sounding& sounding_;
  const Hearing& hearing_;
  bool has_lost_ = false;
  bool helped_ = false;  // what may be answered has been said for this item
};

}  // namespace

std::optional<std::string> read_line() {
  static std::string held;  // what came with the line before

  for (;;) {
    if (const std::size_t end = held.find('\n'); end != std::string::npos) {
      std::string line = held.substr(0, end);
      held.erase(0, end + 1);
      return line;
    }
    if (interrupt_flag().load()) return std::nullopt;
    pollfd input{STDIN_FILENO, POLLIN, 0};
    if (::poll(&input, 1, 200) <= 0) continue;
    std::array<char, 4096> bytes{};
    const ssize_t count = ::read(STDIN_FILENO, bytes.data(), bytes.size());
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) {
      if (held.empty()) return std::nullopt;
      held += '\n';
      continue;
    }
    held.append(bytes.data(), static_cast<std::size_t>(count));
    // Nobody types so much on a line.
    if (held.size() > 100'000) held.clear();
  }
}

drill::Moment present_moment() {
  using std::chrono::duration;
  drill::Moment moment;
  moment.unix_seconds = std::chrono::duration_cast<std::chrono::seconds>(
                            std::chrono::system_clock::now().time_since_epoch())
                            .count();
  if (const char* text = std::getenv("LOWSTRIDE_NOW"); text != nullptr) {
    const std::string_view view(text);
    drill::UnixSeconds given = 0;
    if (std::from_chars(view.data(), view.data() + view.size(), given).ec == std::errc()) {
      moment.unix_seconds = given;
    }
  }
  moment.steady_seconds =
      duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
  return moment;
}

ExitCode lead_session(drill::Session& session, const Sounding& sounding, const Hearing& hearing) {
  return Leader(session, sounding, hearing).lead();
}

}  // namespace lowstride::cli
