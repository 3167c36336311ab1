#include "src/cli/lift_batch.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cstring>
#include <map>
#include <string>
#include <string_view>
#include <system_error>
#include <thread>
#include <vector>

#include <fmt/format.h>

#include "src/audio/recording.hpp"
#include "src/cli/child_work.hpp"
#include "src/sheet/grid.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::cli {
namespace {

namespace fs = std::filesystem;

// Beside the exit codes of commands, from child to parent only.
constexpr int exit_unchanged = 3;

enum class State { waiting, lifted, unchanged, failed };

struct Item {
  fs::path recording;
  fs::path take;
  std::string name;  // for people: as it lies in the folder named
  State state = State::waiting;
  std::vector<std::string> sentences;  // what there is to say of it
};

/// What a folder is searched for; a file that is named itself may end in anything.
bool has_ending_of_sound(const fs::path& path) {
  static constexpr std::array<std::string_view, 25> endings{
      ".wav",  ".wave", ".w64", ".rf64", ".aif",  ".aiff", ".aifc", ".caf", ".au",
      ".flac", ".ogg",  ".oga", ".opus", ".mp3",  ".m4a",  ".m4b",  ".aac", ".mp4",
      ".m4v",  ".mov",  ".mkv", ".mka",  ".webm", ".3gp",  ".wma"};
  std::string ending = path.extension().string();
  std::ranges::transform(ending, ending.begin(),
                         [](unsigned char sign) { return static_cast<char>(std::tolower(sign)); });
  return std::ranges::find(endings, ending) != endings.end();
}

Item item_of(const fs::path& recording, const fs::path& below, const LiftOptions& options) {
  Item item;
  item.recording = recording;
  const fs::path inside =
      below.empty() ? recording.filename() : recording.lexically_relative(below);
  item.name = printable(inside.string());
  item.take = take::take_path_for(options.output.empty() ? recording : options.output / inside);
  return item;
}

Result<void> add_folder(std::vector<Item>& items, const fs::path& folder,
                        const LiftOptions& options) {
  std::error_code error;
  fs::recursive_directory_iterator entry(folder, fs::directory_options::skip_permission_denied,
                                         error);
  if (error) {
    return fail(ErrorCode::unreadable, fmt::format("'{}' cannot be read; look at its permissions.",
                                                   printable(folder.string())));
  }
  std::vector<fs::path> found;
  for (; entry != fs::recursive_directory_iterator(); entry.increment(error)) {
    if (error) break;
    const bool is_hidden = entry->path().filename().string().starts_with('.');
    if (is_hidden && entry->is_directory(error)) entry.disable_recursion_pending();
    if (is_hidden || !entry->is_regular_file(error) || !has_ending_of_sound(entry->path()))
      continue;
    found.push_back(entry->path());
  }
  std::ranges::sort(found);
  for (const fs::path& path : found) items.push_back(item_of(path, folder, options));
  return {};
}

Result<std::vector<Item>> items_of(const LiftOptions& options) {
  std::error_code error;
  const bool is_named_as_take = options.output.extension() == ".take";
  if (!options.output.empty() && !fs::is_directory(options.output, error) &&
      (is_named_as_take || fs::exists(options.output, error))) {
    return fail(ErrorCode::conflict,
                fmt::format("'{}' is no folder; several takes need one: give -o FOLDER.",
                            printable(options.output.string())));
  }
  std::vector<Item> items;
  for (const fs::path& path : options.recordings) {
    if (!fs::is_directory(path, error)) {
      items.push_back(item_of(path, {}, options));
    } else if (auto added = add_folder(items, path, options); !added) {
      return tl::unexpected(added.error());
    }
  }
  if (items.empty()) {
    return fail(ErrorCode::not_found,
                fmt::format("No recordings in '{}'; name a folder with sound files.",
                            printable(options.recordings.front().string())));
  }
  // Two that would write one take: the second is not begun.
  std::map<fs::path, const Item*> by_take;
  for (Item& item : items) {
    const auto [other, is_first] = by_take.try_emplace(item.take.lexically_normal(), &item);
    if (is_first) continue;
    item.state = State::failed;
    item.sentences.push_back(
        fmt::format("'{}' and '{}' would both be {}; lift one of them alone with -o.", item.name,
                    other->second->name, printable(item.take.filename().string())));
  }
  return items;
}

/// Whether the take is there and was made from these very bytes.
bool is_unchanged(const Item& item) {
  std::error_code error;
  if (!fs::exists(item.take, error)) return false;
  const auto loaded = take::load_take(item.take);
  if (!loaded || !loaded->take.recording) return false;
  const auto hash = audio::content_hash_of(item.recording);
  return hash && *hash == loaded->take.recording->content_hash;
}

int lift_in_child(const Item& item, const LiftOptions& options,
                  ExitCode (*lift_one)(const LiftOptions&)) {
  if (!options.is_again && is_unchanged(item)) return exit_unchanged;
  std::error_code error;
  if (item.take.has_parent_path()) fs::create_directories(item.take.parent_path(), error);
  LiftOptions alone = options;
  alone.recordings = {item.recording};
  alone.output = item.take;
  return static_cast<int>(lift_one(alone));
}

void take_note(Item& item, const ChildEnd& end) {
  constexpr std::string_view prefix = "lowstride: ";
  for (std::size_t begin = 0; begin < end.said.size();) {
    const std::size_t stop = std::min(end.said.find('\n', begin), end.said.size());
    std::string_view line = std::string_view(end.said).substr(begin, stop - begin);
    if (line.starts_with(prefix)) line.remove_prefix(prefix.size());
    if (!line.empty()) item.sentences.emplace_back(line);
    begin = stop + 1;
  }
  if (end.signal_number) {
    item.state = State::failed;
    item.sentences.push_back(fmt::format(
        "The work on '{}' broke down ({}) and nothing of it was saved; lift it alone to try again.",
        item.name, ::strsignal(*end.signal_number)));
  } else if (end.exit_code == static_cast<int>(ExitCode::done)) {
    item.state = State::lifted;
  } else if (end.exit_code == exit_unchanged) {
    item.state = State::unchanged;
  } else if (end.exit_code != static_cast<int>(ExitCode::interrupted)) {
    item.state = State::failed;
  }
}

void print_table(const std::vector<Item>& items) {
  int widest = 9;
  for (const Item& item : items) widest = std::max(widest, sheet::column_count(item.name));
  const auto print = [widest](std::string_view name, std::string_view rest) {
    const auto room = static_cast<std::size_t>(widest - sheet::column_count(name));
    fmt::print("{}{}  {}\n", name, std::string(room, ' '), rest);
  };
  constexpr std::string_view columns = "{:>7}  {:>5}  {:<3}  {:>5}  {:>6}  {}";
  print("recording", fmt::format(columns, "length", "tempo", "key", "notes", "doubts", "what"));
  for (const Item& item : items) {
    const bool is_there = item.state == State::lifted || item.state == State::unchanged;
    const auto loaded = is_there ? take::load_take(item.take) : fail(ErrorCode::not_found, "");
    if (!loaded) {
      print(item.name, fmt::format(columns, "-", "-", "-", "-", "-",
                                   item.state == State::failed ? "failed" : "not begun"));
      continue;
    }
    const take::Take& take = loaded->take;
    const auto seconds = take.time_base_hz > 0
                             ? (take.length_samples + take.time_base_hz / 2) / take.time_base_hz
                             : 0;
    const auto tempo = take::median_tempo_bpm(take);
    const auto doubts =
        std::ranges::count_if(take.notes, [](const take::Note& note) { return is_doubt(note); }) +
        std::ranges::count_if(take.chords,
                              [](const take::ChordSpan& span) { return is_doubt(span); });
    print(item.name,
          fmt::format(columns, fmt::format("{}:{:02}", seconds / 60, seconds % 60),
                      tempo ? fmt::format("{:.0f}", *tempo) : "-",
                      take.key ? theory::key_text({take.key->tonic_pc, take.key->is_minor}) : "-",
                      take.notes.size(), doubts,
                      item.state == State::lifted ? "lifted" : "unchanged"));
  }
}

}  // namespace

bool is_batch(const LiftOptions& options) {
  std::error_code error;
  return options.recordings.size() > 1 || fs::is_directory(options.recordings.front(), error);
}

ExitCode run_lift_batch(const LiftOptions& options, ExitCode (*lift_one)(const LiftOptions&)) {
  auto items = items_of(options);
  if (!items) return tell(items.error());
  std::vector<Item*> to_do;
  for (Item& item : *items) {
    if (item.state == State::waiting) to_do.push_back(&item);
  }
  bool is_whole = true;
  {
    ProgressLine progress;
    const WorkControl control = progress.control();
    std::size_t ended = 0;
    ChildWork job;
    job.count = to_do.size();
    job.at_once = options.jobs > 0 ? static_cast<std::size_t>(options.jobs)
                                   : std::max<std::size_t>(1, std::thread::hardware_concurrency());
    job.work = [&](std::size_t index) { return lift_in_child(*to_do[index], options, lift_one); };
    job.on_end = [&](std::size_t index, const ChildEnd& end) {
      take_note(*to_do[index], end);
      ++ended;
      control.report(fmt::format("{} of {} recordings", ended, to_do.size()),
                     static_cast<double>(ended) / static_cast<double>(to_do.size()));
    };
    is_whole = do_in_children(job);
  }
  print_table(*items);
  const auto count_of = [&items](State state) {
    return std::ranges::count(*items, state, &Item::state);
  };
  fmt::print(
      "{} lifted, {} unchanged{}, {} failed", count_of(State::lifted), count_of(State::unchanged),
      count_of(State::unchanged) > 0 ? " (--again lifts them anew)" : "", count_of(State::failed));
  if (count_of(State::waiting) > 0) fmt::print(", {} not begun", count_of(State::waiting));
  fmt::print("\n");
  std::fflush(stdout);
  for (const Item& item : *items) {
    for (const std::string& sentence : item.sentences) {
      remark(item.state == State::failed ? sentence : item.name + ": " + sentence);
    }
  }
  if (!is_whole) return ExitCode::interrupted;
  return count_of(State::failed) == 0 ? ExitCode::done : ExitCode::failed;
}

}  // namespace lowstride::cli
