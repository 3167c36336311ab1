#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/audio/live_input.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/drill_ear.hpp"
#include "src/cli/drill_sound.hpp"
#include "src/cli/drill_takes.hpp"
#include "src/cli/drill_terminal.hpp"
#include "src/drill/fit.hpp"
#include "src/drill/history.hpp"
#include "src/drill/progress.hpp"
#include "src/drill/session.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

void say_fit(const drill::FitReport& report, const std::string& player) {
  fmt::print("Fitted to {} answers of {}, judged on the {} after them.\n",
             report.fitted_answer_count, printable(player), report.judged_answer_count);
  fmt::print(
      "Mean log loss: {:.4f} fitted, {:.4f} by the default weights, {:.4f} by the share of right "
      "answers alone.\n",
      report.fitted_loss, report.default_loss, report.base_rate_loss);
  fmt::print("{}\n", report.is_adopted ? "The fitted weights are in use from now on."
                                       : "That is no gain; the default weights stay.");
}

/// After a session: the memory model learns from the player's own answers, once there are enough.
void fit_when_due(drill::History& history, const std::string& player) {
  const auto report = history.fit_when_due(present_moment().unix_seconds);
  if (!report) return remark(report.error().message);
  if (*report) say_fit(**report, player);
}

ExitCode run_fit(drill::History& history, const std::string& player) {
  const auto report = history.fit_now(present_moment().unix_seconds);
  if (!report) return tell(report.error());
  if (!*report) {
    fmt::print("Too few answers to fit to: {} that came a day or more after the last are needed.\n",
               drill::fewest_answers_to_fit);
    return ExitCode::done;
  }
  say_fit(**report, player);
  return ExitCode::done;
}

Result<std::unique_ptr<audio::LiveInput>> open_input(const DrillOptions& options) {
  if (!options.answers.empty()) return audio::open_input_file(options.answers);
  return audio::open_input_device(options.input.value_or(""));
}

ExitCode run_session(const DrillOptions& options, drill::History& history) {
  const auto states = history.states();
  if (!states) return tell(states.error());
  const auto weights = history.weights();
  if (!weights) return tell(weights.error());
  auto takes = open_drill_takes(options, history, *states);
  if (!takes) return tell(takes.error());
  if (takes->take_count == 0 && options.takes.empty()) {
    return tell({ErrorCode::not_found,
                 "No take was drilled by this player yet; name one: lowstride drill NAME.take."});
  }
  if (takes->book.entries().empty() && !options.takes.empty()) {
    return tell({ErrorCode::not_found,
                 fmt::format("'{}' has nothing to ask: drills are made from confirmed notes and "
                             "chords; confirm some with lowstride edit --confirm FROM..TO.",
                             options.takes.front().string())});
  }
  drill::SessionOptions session_options;
  session_options.length_minutes = options.minutes;
  session_options.most_new = options.most_new;
  session_options.seed = static_cast<std::uint32_t>(present_moment().unix_seconds);
  drill::Session session(std::move(takes->book), *states, *weights, session_options,
                         [&history](const drill::Item& item, const drill::AnswerRecord& answer) {
                           return history.record(item, answer);
                         });
  const std::size_t due = session.due_count(present_moment().unix_seconds);
  fmt::print("{} due, {} new.\n", due, session.new_item_count());
  DrillSounder sounder(std::move(takes->sources), options.is_silent);
  std::optional<drill::Ear> ear;
  if (options.has_input || options.input || !options.answers.empty()) {
    auto input = open_input(options);
    if (!input) return tell(input.error());
    const bool is_device = options.answers.empty();
    ear.emplace(std::move(*input), is_device ? drill::kept_latency_seconds() : 0.0, is_device);
  }
  const ExitCode ended = lead_session(
      session,
      [&](const std::vector<drill::SoundOrder>& sounds) {
        for (const drill::SoundOrder& order : sounds) {
          // What is played over the accompaniment is the answer.
          if (ear && order.is_accompaniment) ear->begin();
          sounder.play(order, [&](double heard_seconds) {
            if (ear) ear->tick(heard_seconds);
          });
        }
      },
      [&](const drill::Session& now) -> std::optional<Result<drill::Answer>> {
        if (!ear) return std::nullopt;
        return played_answer(*ear, now);
      });
  if (ended == ExitCode::done) fit_when_due(history, options.player);
  return ended;
}

}  // namespace

ExitCode run_drill(const DrillOptions& options) {
  if (options.measures_latency) return run_latency(options.input.value_or(""));
  if (options.shows_tuner) {
    const auto input = open_input(options);
    if (!input) return tell(input.error());
    neck::Neck neck = *neck::find_neck("bass");
    if (!options.takes.empty()) {
      const auto loaded = take::load_take(options.takes.front());
      if (!loaded) return tell(loaded.error());
      neck = loaded->take.neck;
    }
    return run_tuner(**input, neck);
  }
  const bool has_other_work =
      !options.csv.empty() || options.fits_weights || !options.progress.empty();
  if (options.takes.empty() && !options.is_due && !has_other_work) {
    remark("drill: name a take, or --due for what is due.");
    return ExitCode::wrong_usage;
  }
  const auto path = drill::history_path(options.player);
  if (!path) return tell(path.error());
  auto history = drill::History::open(*path);
  if (!history) return tell(history.error());
  for (const std::string& sentence : history->messages()) remark(sentence);
  if (options.fits_weights) return run_fit(*history, options.player);
  if (!options.csv.empty()) {
    if (const auto written = history->export_csv(options.csv); !written)
      return tell(written.error());
    fmt::print("saved: {}\n", printable(options.csv.string()));
    return ExitCode::done;
  }
  if (!options.progress.empty()) {
    const auto answers = history->answers();
    if (!answers) return tell(answers.error());
    const drill::Progress progress = drill::progress_of(*answers);
    if (const auto drawn = drill::draw_progress(progress, options.player, options.progress);
        !drawn) {
      return tell(drawn.error());
    }
    fmt::print("{}saved: {}\n", drill::progress_text(progress),
               printable(options.progress.string()));
    return ExitCode::done;
  }
  return run_session(options, *history);
}

}  // namespace lowstride::cli
