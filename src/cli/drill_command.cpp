#include <algorithm>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "src/audio/live_input.hpp"
#include "src/audio/recording.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/drill_ear.hpp"
#include "src/cli/drill_sound.hpp"
#include "src/cli/drill_terminal.hpp"
#include "src/drill/fit.hpp"
#include "src/drill/history.hpp"
#include "src/drill/progress.hpp"
#include "src/drill/session.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

/// A take at hand for a session.
struct OpenTake {
  std::filesystem::path path;
  take::Take take;
};

Result<std::vector<OpenTake>> open_takes(const DrillOptions& options, drill::History& history) {
  std::vector<OpenTake> open;
  std::set<std::string> keys;
  for (const std::filesystem::path& path : options.takes) {
    auto loaded = take::load_take(path);
    if (!loaded) return tl::unexpected(loaded.error());
    for (const std::string& sentence : loaded->messages) remark(sentence);
    const std::string key = drill::take_key_of(loaded->take);
    if (!keys.insert(key).second) continue;
    std::error_code error;
    const std::filesystem::path whole = std::filesystem::absolute(path, error);
    const drill::KnownTake known{key, whole.string(), loaded->take.title};
    if (const auto kept = history.remember_take(known); !kept) return tl::unexpected(kept.error());
    open.push_back({path, std::move(loaded->take)});
  }
  if (!options.is_due) return open;
  const auto takes = history.takes();
  if (!takes) return tl::unexpected(takes.error());
  for (const drill::KnownTake& known : *takes) {
    if (keys.contains(known.key)) continue;
    auto loaded = take::load_take(known.path);
    if (!loaded) {
      remark(fmt::format("'{}' is left out: {}", known.path, loaded.error().message));
      continue;
    }
    if (drill::take_key_of(loaded->take) != known.key) {
      remark(fmt::format("'{}' is left out: it belongs to another recording now.", known.path));
      continue;
    }
    keys.insert(known.key);
    open.push_back({known.path, std::move(loaded->take)});
  }
  return open;
}

Result<std::vector<drill::Item>> items_from(const DrillOptions& options,
                                            const std::vector<OpenTake>& takes) {
  drill::ItemOptions wanted;
  wanted.passage = options.passage;
  for (const std::string& word : options.kinds) {
    if (const auto kind = drill::kind_from_word(word)) wanted.kinds.push_back(*kind);
  }
  std::vector<drill::Item> items;
  for (const OpenTake& open : takes) {
    const auto& passages = open.take.passages;
    const bool has_passage =
        !options.passage || std::any_of(passages.begin(), passages.end(), [&](const auto& one) {
          return one.name == *options.passage;
        });
    if (!has_passage) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              open.path.string(), *options.passage));
    }
    for (drill::Item& item : drill::items_of(open.take, wanted)) items.push_back(std::move(item));
  }
  return items;
}

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

/// The recordings of takes, where they are. One that is missing is said once; its drills are played
/// by made tones where they have a line, and else in words.
std::map<std::string, DrillSource> sources_of(const std::vector<OpenTake>& takes) {
  std::map<std::string, DrillSource> sources;
  for (const OpenTake& open : takes) {
    DrillSource source{open.path.filename().string(), {}};
    if (open.take.recording) {
      const auto found = take::find_recording(
          open.take, open.path, [](const auto& path) { return audio::content_hash_of(path); });
      if (found) {
        source.recording = *found;
        const std::string note = take::outside_note(*found, open.path);
        if (!note.empty()) remark(note);
      } else {
        remark(found.error().message);
      }
    }
    sources[drill::take_key_of(open.take)] = source;
  }
  return sources;
}

Result<std::unique_ptr<audio::LiveInput>> open_input(const DrillOptions& options) {
  if (!options.answers.empty()) return audio::open_input_file(options.answers);
  return audio::open_input_device(options.input.value_or(""));
}

ExitCode run_session(const DrillOptions& options, drill::History& history) {
  const auto takes = open_takes(options, history);
  if (!takes) return tell(takes.error());
  auto items = items_from(options, *takes);
  if (!items) return tell(items.error());
  if (items->empty()) {
    return tell(
        {ErrorCode::not_found,
         takes->empty()
             ? std::string(
                   "No take was drilled by this player yet; name one: lowstride drill NAME.take.")
             : fmt::format("'{}' has nothing to ask: drills are made from confirmed notes and "
                           "chords; confirm "
                           "some with lowstride edit --confirm FROM..TO.",
                           takes->front().path.string())});
  }
  const auto states = history.states();
  if (!states) return tell(states.error());
  const auto weights = history.weights();
  if (!weights) return tell(weights.error());
  if (options.is_due && options.takes.empty()) {
    // Only what was begun: new items come from a take that is named.
    std::set<std::string> begun;
    for (const drill::ItemState& state : *states) begun.insert(state.key);
    std::erase_if(*items, [&](const drill::Item& item) { return !begun.contains(item.key); });
  }
  drill::SessionOptions session_options;
  session_options.length_minutes = options.minutes;
  session_options.most_new = options.most_new;
  session_options.seed = static_cast<std::uint32_t>(present_moment().unix_seconds);
  drill::Session session(std::move(*items), *states, *weights, session_options,
                         [&history](const drill::Item& item, const drill::AnswerRecord& answer) {
                           return history.record(item, answer);
                         });
  const std::size_t due = session.due_count(present_moment().unix_seconds);
  fmt::print("{} due, {} new.\n", due, session.new_item_count());
  DrillSounder sounder(sources_of(*takes), options.is_silent);
  std::optional<DrillEar> ear;
  if (options.has_input || options.input || !options.answers.empty()) {
    auto input = open_input(options);
    if (!input) return tell(input.error());
    const bool is_device = options.answers.empty();
    ear.emplace(std::move(*input), is_device ? kept_latency_seconds() : 0.0, is_device);
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
        return ear->answer(now);
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
