#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/analysis/fingering_edit.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/level_option.hpp"
#include "src/neck/named_necks.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/commands.hpp"
#include "src/take/harmony.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::cli {
namespace {

constexpr std::size_t most_shown = 3;  // alternatives of a note

std::optional<int> whole_number(std::string_view text) {
  if (text.starts_with('+')) text.remove_prefix(1);
  int value = 0;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  if (text.empty() || error != std::errc() || stop != end) return std::nullopt;
  return value;
}

Result<neck::Neck> neck_from(const FingerOptions& options, const neck::Neck& present) {
  Result<neck::Neck> neck = present;
  if (options.instrument) {
    neck = neck::find_neck(*options.instrument);
    if (!neck) return neck;
  }
  // The number of strings may change with the tuning, so the capo is judged with the whole neck.
  if (options.tuning) neck = neck::with_tuning(*neck, *options.tuning);
  if (!neck) return neck;
  if (options.capo) neck->capo = *options.capo;
  if (options.fret_count) neck->fret_count = *options.fret_count;
  if (options.scale_mm) neck->scale_mm = *options.scale_mm;
  if (const auto sound = neck::check(*neck); !sound) return tl::unexpected(sound.error());
  return neck;
}

Result<std::vector<int>> strings_from(std::string_view text) {
  std::vector<int> strings;
  if (text == "none") return strings;
  while (true) {
    const auto comma = text.find(',');
    const auto number = whole_number(text.substr(0, comma));
    if (!number) {
      return fail(
          ErrorCode::invalid_argument,
          fmt::format("--leave-out '{}': say the numbers of strings, as 1,2, or none.", text));
    }
    strings.push_back(*number);
    if (comma == std::string_view::npos) return strings;
    text.remove_prefix(comma + 1);
  }
}

Result<neck::FingeringOptions> hand_from(const FingerOptions& options,
                                         neck::FingeringOptions hand) {
  if (options.position) {
    const auto fret = whole_number(*options.position);
    if (!fret && *options.position != "open" && *options.position != "low" &&
        *options.position != "anywhere") {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("--position '{}': say open, low, anywhere or the fret of the index "
                              "finger.",
                              *options.position));
    }
    const bool is_open = *options.position == "open";
    hand.position_fret = is_open ? std::optional<int>(1) : fret;
    hand.prefer_open = is_open;
    hand.prefer_low = *options.position != "anywhere";
  }
  hand.prefer_open = hand.prefer_open || options.prefer_open;
  if (options.max_span_mm) hand.max_span_mm = *options.max_span_mm;
  if (options.leave_out) {
    const auto strings = strings_from(*options.leave_out);
    if (!strings) return tl::unexpected(strings.error());
    hand.left_out_strings = *strings;
  }
  return hand;
}

/// Octaves of the line: as typed; decided anew for another neck; else as they are.
Result<std::optional<int>> octaves_from(const FingerOptions& options, const take::Take& take,
                                        const neck::Neck& neck) {
  if (!options.octave) {
    if (neck.open_midi != take.neck.open_midi || neck.capo != take.neck.capo) {
      return std::optional<int>{};
    }
    return std::optional<int>{take.octave_shift};
  }
  if (*options.octave == "auto") return std::optional<int>{};
  const auto octaves = whole_number(*options.octave);
  if (!octaves || *octaves < -3 || *octaves > 3) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--octave '{}': say auto, 0, +1 or -1 (3 at most).", *options.octave));
  }
  return std::optional<int>{*octaves};
}

Result<void> add_step(take::EditGroup& group, take::Take& after, take::Edit edit) {
  const auto done = take::apply(after, edit);
  if (!done) return tl::unexpected(done.error());
  group.edits.push_back(std::move(edit));
  return {};
}

struct Step {
  take::EditGroup group;
  take::Take after;
};

/// Neck, hand, pins and the fingering that follows from them, as one step.
Result<Step> whole_step(const take::Take& take, const FingerOptions& options) {
  Step step{{.name = "Finger the line", .edits = {}}, take};
  const auto neck = neck_from(options, take.neck);
  if (!neck) return tl::unexpected(neck.error());
  const auto octaves = octaves_from(options, take, *neck);
  if (!octaves) return tl::unexpected(octaves.error());
  if (*neck != take.neck) {
    // Pins and the fingering need the octave that the line will be played in.
    take::Take trial = take;
    trial.neck = *neck;
    if (!neck::check_options(trial.neck, trial.fingering)) trial.fingering = {};
    for (take::Note& note : trial.notes) note.is_position_pinned = false;
    const auto fingered = analysis::fingering_of(trial, *octaves);
    if (!fingered) return tl::unexpected(fingered.error());
    const auto done =
        add_step(step.group, step.after, take::SetNeck{*neck, fingered->octave_shift});
    if (!done) return tl::unexpected(done.error());
  }
  const auto hand = hand_from(options, step.after.fingering);
  if (!hand) return tl::unexpected(hand.error());
  if (*hand != step.after.fingering) {
    const auto done = add_step(step.group, step.after, take::SetFingeringOptions{*hand});
    if (!done) return tl::unexpected(done.error());
  }
  std::vector<take::EditOption> typed;
  for (const std::string& value : options.unpins) typed.push_back({"unpin", value});
  for (const std::string& value : options.pins) typed.push_back({"pin", value});
  auto pins = take::edit_from_options(step.after, typed);
  if (!pins) return tl::unexpected(pins.error());
  if (const auto done = add_step(step.group, step.after, std::move(*pins)); !done) {
    return tl::unexpected(done.error());
  }
  auto fingering = analysis::fingering_edit(step.after, *octaves);
  if (!fingering) return tl::unexpected(fingering.error());
  if (const auto done = add_step(step.group, step.after, std::move(*fingering)); !done) {
    return tl::unexpected(done.error());
  }
  return step;
}

std::string place_of(const take::Take& take, const neck::Position& position) {
  const auto names = neck::string_names(take.neck);
  const std::string& name = names[static_cast<std::size_t>(position.string_number - 1)];
  if (position.fret == 0) return fmt::format("{} string open", name);
  const std::string place = fmt::format("{} string, fret {}", name, position.fret);
  return position.finger == 0 ? place : fmt::format("{}, finger {}", place, position.finger);
}

Result<std::string> alternatives_text(const take::Take& take, const std::string& where) {
  take::Stretch stretch{0, take.length_samples};
  if (where.find("..") != std::string::npos) {
    const auto parsed = take::parse_stretch(where, take);
    if (!parsed) return tl::unexpected(parsed.error());
    stretch = *parsed;
  } else if (where != "all") {
    const auto at = take::parse_time(where, take);
    if (!at) return tl::unexpected(at.error());
    const auto nearest = std::ranges::min_element(
        take.notes, {}, [&](const take::Note& note) { return std::abs(note.onset_samples - *at); });
    if (nearest == take.notes.end()) return std::string();
    stretch = {nearest->onset_samples, nearest->onset_samples + 1};
  }
  const auto fingered = analysis::fingering_of(take, take.octave_shift);
  if (!fingered) return tl::unexpected(fingered.error());
  std::string text;
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const take::Note& note = take.notes[i];
    if (note.onset_samples < stretch.begin_samples || note.onset_samples >= stretch.end_samples) {
      continue;
    }
    text += fmt::format("{:<9} {:<4} ", sheet::place_text(take, note.onset_samples),
                        theory::pitch_text(note.midi + 12 * take.octave_shift, take::key_of(take)));
    if (!note.position) {
      text += "not on this neck\n";
      continue;
    }
    text += place_of(take, *note.position) + (note.is_position_pinned ? " (pinned)" : "");
    std::size_t shown = 0;
    for (const neck::RankedPosition& other : fingered->notes[i].alternatives) {
      if (shown++ == most_shown) break;
      text += fmt::format("; {} (+{:.0f})", place_of(take, other.position), other.extra_cost);
    }
    text += "\n";
  }
  return text;
}

void remark_losses(const take::Take& before, const take::Take& after) {
  std::size_t off_neck = 0;
  std::size_t unpinned = 0;
  for (std::size_t i = 0; i < after.notes.size(); ++i) {
    if (!after.notes[i].position) ++off_neck;
    if (before.notes[i].is_position_pinned && !after.notes[i].is_position_pinned) ++unpinned;
  }
  if (off_neck > 0) {
    remark(
        fmt::format("{} of {} notes are not on this neck; they are in the take without a fret. "
                    "--octave moves the line.",
                    off_neck, after.notes.size()));
  }
  if (unpinned > 0) {
    remark(fmt::format("{} pinned {} no longer pinned.", unpinned,
                       unpinned == 1 ? "note is" : "notes are"));
  }
  if (!before.stabs.empty() && after.stabs.empty()) {
    remark("The stabs were made for the strings before and are gone; arrange the take again.");
  }
}

/// Into the take itself, or into another place.
Result<take::Take> finger(const FingerOptions& options) {
  if (!options.output.empty()) {
    const auto loaded = take::load_take(options.take);
    if (!loaded) return tl::unexpected(loaded.error());
    for (const std::string& sentence : loaded->messages) remark(sentence);
    const auto source = at_level(loaded->take, options.level, options.take);
    if (!source) return tl::unexpected(source.error());
    auto step = whole_step(*source, options);
    if (!step) return tl::unexpected(step.error());
    if (auto& recording = step->after.recording) {
      recording->path =
          take::recording_path_for(options.take.parent_path() / recording->path, options.output);
    }
    if (const auto saved = take::save_copy(step->after, options.output); !saved) {
      return tl::unexpected(saved.error());
    }
    remark_losses(*source, step->after);
    return std::move(step->after);
  }
  if (options.level) {
    return fail(ErrorCode::invalid_argument,
                "--level needs -o, the take to write: a level is a take of its own.");
  }
  auto file = take::TakeFile::open(options.take);
  if (!file) return tl::unexpected(file.error());
  for (const std::string& sentence : file->messages()) remark(sentence);
  const take::Take before = file->take();
  const auto step = whole_step(before, options);
  if (!step) return tl::unexpected(step.error());
  if (const auto done = file->apply(step->group); !done) return tl::unexpected(done.error());
  if (const auto saved = file->save(); !saved) return tl::unexpected(saved.error());
  remark_losses(before, file->take());
  return file->take();
}

}  // namespace

ExitCode run_finger(const FingerOptions& options) {
  const auto fingered = finger(options);
  if (!fingered) return tell(fingered.error());
  std::string alternatives;
  if (options.alternatives) {
    auto text = alternatives_text(*fingered, *options.alternatives);
    if (!text) return tell(text.error());
    alternatives = "\n" + *text +
                   "\nBehind a place in brackets: how much dearer the line is that way, in "
                   "millimetres of comfortable movement.\n";
  }
  sheet::TextTabOptions tab;
  tab.width_columns = options.width > 0 ? options.width : std::max(40, terminal_columns(100));
  const auto& path = options.output.empty() ? options.take : options.output;
  fmt::print("{}{}saved: {}\n", sheet::render_text_tab(*fingered, tab), alternatives,
             printable(path.string()));
  return ExitCode::done;
}

}  // namespace lowstride::cli
