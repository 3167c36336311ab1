#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "src/drill/item.hpp"
#include "src/sheet/grid.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::drill {
namespace {

/// A bar with its beats: `first` .. `first + count` are indices into the written grid, the last one
/// the next bar's one.
struct Bar {
  int number = 1;
  std::size_t first = 0;
  std::size_t count = 4;
};

double hundredths(double value) { return std::round(value * 100.0) / 100.0; }

/// A take seen as a book of questions.
class Maker {
 public:
  Maker(const take::Take& take, const ItemOptions& options)
      : take_(take),
        options_(options),
        grid_(sheet::written_grid(take)),
        roles_(take::roles_of(take)) {
    for (std::size_t i = 0; i + 1 < grid_.size(); ++i) {
      if (grid_[i].beat == 1) bars_.push_back({grid_[i].bar, i, 0});
      if (!bars_.empty()) ++bars_.back().count;
    }
  }

  [[nodiscard]] std::vector<Item> items() {
    if (grid_.size() < 2) return {};
    for (const Kind kind : all_kinds()) {
      if (!options_.kinds.empty() &&
          std::find(options_.kinds.begin(), options_.kinds.end(), kind) == options_.kinds.end()) {
        continue;
      }
      make(kind);
    }
    return std::move(items_);
  }

 private:
  void make(Kind kind) {
    switch (kind) {
      case Kind::find_the_note:
      case Kind::name_the_role:
        for (const Bar& bar : bars_) make_notes(kind, bar);
        break;
      case Kind::spot_the_change:
        make_changes();
        break;
      case Kind::name_the_chord:
        make_chords();
        break;
      case Kind::write_the_bar:
      case Kind::which_is_it:
        for (std::size_t i = 0; i < bars_.size(); ++i) make_line(kind, i, 1);
        break;
      case Kind::play_it_back:
        for (std::size_t i = 0; i + 1 < bars_.size(); i += 2) make_line(kind, i, 2);
        break;
      case Kind::hide_and_work_out:
        make_hidden();
        break;
    }
  }

  [[nodiscard]] bool is_in_passage(const take::Stretch& stretch) const {
    if (!options_.passage) return true;
    const take::Passage* passage = passage_of(stretch);
    return passage != nullptr && passage->name == *options_.passage;
  }

  [[nodiscard]] const take::Passage* passage_of(const take::Stretch& stretch) const {
    const std::int64_t slack =
        grid_.size() > 1 ? (grid_[1].time_samples - grid_[0].time_samples) / 2 : 0;
    const take::Passage* found = nullptr;
    for (const take::Passage& passage : take_.passages) {
      const bool holds = passage.begin_samples <= stretch.begin_samples + slack &&
                         passage.end_samples >= stretch.end_samples - slack;
      if (!holds) continue;
      if (options_.passage && passage.name == *options_.passage) return &passage;
      if (found == nullptr) found = &passage;
    }
    return found;
  }

  /// Bars `first` .. as an item without a question; nothing where it cannot be heard whole, or
  /// where an unconfirmed note touches it and `needs_line`.
  [[nodiscard]] std::optional<Item> frame(Kind kind, std::size_t first_bar, std::size_t bar_count,
                                          bool needs_line) const {
    if (first_bar + bar_count > bars_.size()) return std::nullopt;
    const Bar& first = bars_[first_bar];
    const Bar& last = bars_[first_bar + bar_count - 1];
    Item item;
    item.kind = kind;
    item.take_key = take_key_of(take_);
    item.first_bar = first.number;
    item.beats_per_bar = static_cast<int>(first.count);
    for (std::size_t i = first.first; i <= last.first + last.count && i < grid_.size(); ++i) {
      item.beat_samples.push_back(grid_[i].time_samples);
    }
    if (item.beat_samples.size() < 3) return std::nullopt;
    item.stretch = {item.beat_samples.front(), item.beat_samples.back()};
    if (item.stretch.begin_samples < 0 || item.stretch.end_samples > take_.length_samples) {
      return std::nullopt;
    }
    if (!is_in_passage(item.stretch)) return std::nullopt;
    if (const take::Passage* passage = passage_of(item.stretch)) item.passage = passage->name;
    item.place = bar_count == 1 ? fmt::format("bar {}", first.number)
                                : fmt::format("bars {} to {}", first.number, last.number);
    item.time_base_hz = take_.time_base_hz;
    const auto seconds =
        static_cast<double>(item.stretch.end_samples - item.stretch.begin_samples) /
        static_cast<double>(take_.time_base_hz);
    item.tempo_bpm = 60.0 * item.beat_count() / seconds;
    item.a4_hz = take_.a4_hz;
    item.tune_key = take::key_of(take_);
    item.neck = take_.neck;
    item.octave_shift = take_.octave_shift;
    item.has_recording = take_.recording.has_value();
    if (!fill_notes(item, needs_line)) return std::nullopt;
    fill_chords(item);
    return item;
  }

  [[nodiscard]] bool fill_notes(Item& item, bool needs_line) const {
    const auto slack = static_cast<std::int64_t>(0.25 * item.seconds_per_beat() *
                                                 static_cast<double>(take_.time_base_hz));
    // Notes do not overlap: those before this one end before the item, and none after the last that
    // begins in it touches it.
    const auto first = std::ranges::partition_point(take_.notes, [&](const take::Note& note) {
      return note.offset_samples <= item.stretch.begin_samples - slack;
    });
    for (auto i = static_cast<std::size_t>(first - take_.notes.begin()); i < take_.notes.size();
         ++i) {
      const take::Note& note = take_.notes[i];
      if (note.onset_samples >= item.stretch.end_samples - slack) break;
      const bool begins_inside = note.onset_samples >= item.stretch.begin_samples - slack &&
                                 note.onset_samples < item.stretch.end_samples - slack;
      const bool touches = note.onset_samples < item.stretch.end_samples - slack &&
                           note.offset_samples > item.stretch.begin_samples + slack;
      if (needs_line && (begins_inside || touches) && note.state != take::State::confirmed) {
        return false;
      }
      if (!begins_inside || note.state != take::State::confirmed) continue;
      ItemNote entry;
      entry.beat =
          hundredths(std::max(0.0, beat_of_sample(item, static_cast<double>(note.onset_samples))));
      const double end = beat_of_sample(item, static_cast<double>(note.offset_samples));
      entry.length_beats = std::max(0.05, hundredths(end - entry.beat));
      entry.onset_samples = note.onset_samples;
      entry.midi = note.midi;
      entry.is_dead = note.is_dead;
      entry.position = note.position;
      if (i > 0 && !take_.notes[i - 1].is_dead && !note.is_dead) {
        entry.interval_semitones = note.midi - take_.notes[i - 1].midi;
      }
      if (roles_[i] && has_sure_role(i)) entry.role = roles_[i]->role;
      item.notes.push_back(entry);
    }
    return true;
  }

  [[nodiscard]] const take::ChordSpan* chord_at(std::int64_t sample) const {
    const auto after =
        std::ranges::upper_bound(take_.chords, sample, {}, &take::ChordSpan::begin_samples);
    if (after == take_.chords.begin()) return nullptr;
    const take::ChordSpan& span = *std::prev(after);
    return sample < span.end_samples ? &span : nullptr;
  }

  [[nodiscard]] bool is_sure_chord_at(std::int64_t sample) const {
    const take::ChordSpan* span = chord_at(sample);
    return span != nullptr && span->state == take::State::confirmed && span->chord.root_pc;
  }

  /// A role rests on the chord under the note, on the note after it and on that one's chord.
  [[nodiscard]] bool has_sure_role(std::size_t index) const {
    const take::Note& note = take_.notes[index];
    const std::int64_t early = take_.time_base_hz / 20;
    if (note.state != take::State::confirmed || !is_sure_chord_at(note.onset_samples + early)) {
      return false;
    }
    if (index > 0 && take_.notes[index - 1].state != take::State::confirmed) return false;
    if (index + 1 >= take_.notes.size()) return true;
    const take::Note& next = take_.notes[index + 1];
    return next.state == take::State::confirmed && is_sure_chord_at(next.onset_samples + early);
  }

  void fill_chords(Item& item) const {
    const auto first = std::ranges::partition_point(take_.chords, [&](const auto& span) {
      return span.end_samples <= item.stretch.begin_samples;
    });
    for (auto at = first; at != take_.chords.end(); ++at) {
      const take::ChordSpan& span = *at;
      if (span.begin_samples >= item.stretch.end_samples) break;
      if (span.state != take::State::confirmed || !span.chord.root_pc) continue;
      const double begin = beat_of_sample(item, static_cast<double>(span.begin_samples));
      const double end = beat_of_sample(item, static_cast<double>(span.end_samples));
      if (end <= 0.25 || begin >= item.beat_count() - 0.25) continue;
      item.chords.push_back({hundredths(begin), span.chord, take::chord_name(take_, span)});
    }
  }

  void add(Item item, std::int64_t place_sample, std::string_view rest = "") {
    item.key = fmt::format("{}:{}:{}{}", item.take_key, kind_word(item.kind), place_sample, rest);
    items_.push_back(std::move(item));
  }

  void make_notes(Kind kind, const Bar& bar) {
    const auto index = static_cast<std::size_t>(&bar - bars_.data());
    const auto item = frame(kind, index, 1, true);
    if (!item) return;
    for (std::size_t i = 0; i < item->notes.size(); ++i) {
      const ItemNote& note = item->notes[i];
      const double nearest = std::round(note.beat);
      if (note.is_dead || std::abs(note.beat - nearest) > 0.25) continue;
      const auto shares_beat = [&](const ItemNote& other) {
        return &other != &note && std::abs(other.beat - nearest) <= 0.3;
      };
      if (std::any_of(item->notes.begin(), item->notes.end(), shares_beat)) continue;
      if (kind == Kind::name_the_role) {
        if (!note.role) continue;
        using theory::Role;
        if (*note.role == Role::repeated || *note.role == Role::pedal) continue;
        if (item->chords.empty()) continue;
      }
      Item asked = *item;
      asked.asked = i;
      add(std::move(asked), note.onset_samples);
    }
  }

  void make_changes() {
    for (std::size_t i = 0; i + 1 < take_.chords.size(); ++i) {
      const take::ChordSpan& before = take_.chords[i];
      const take::ChordSpan& after = take_.chords[i + 1];
      const bool is_sure = before.state == take::State::confirmed &&
                           after.state == take::State::confirmed && before.chord.root_pc &&
                           after.chord.root_pc && before.end_samples == after.begin_samples &&
                           before.chord != after.chord;
      if (!is_sure) continue;
      const std::optional<std::size_t> bar = bar_at(after.begin_samples);
      if (!bar) continue;
      // A change on the one is heard from the bar before.
      const double beat = sheet::beat_position(grid_, after.begin_samples);
      const bool is_on_one = std::abs(beat - static_cast<double>(bars_[*bar].first)) < 0.25;
      if (is_on_one && *bar == 0) continue;
      const std::size_t first = is_on_one ? *bar - 1 : *bar;
      auto item = frame(Kind::spot_the_change, first, is_on_one ? 2 : 1, false);
      if (!item || !chords_cover(*item)) continue;
      // Several changes in one bar are one item; chords are in order of time, so it is a late one.
      const bool is_known = std::any_of(
          items_.rbegin(), items_.rbegin() + std::min<std::ptrdiff_t>(std::ssize(items_), 16),
          [&](const Item& other) {
            return other.kind == Kind::spot_the_change && other.stretch == item->stretch;
          });
      if (!is_known) add(std::move(*item), first_sample(first), is_on_one ? "+" : "");
    }
  }

  /// Every moment of the item lies under a confirmed chord, and there is a change in it.
  [[nodiscard]] bool chords_cover(const Item& item) const {
    if (item.chords.size() < 2 || item.chords.front().beat > 0.25) return false;
    for (int half = 0; 0.3 + 0.5 * half < item.beat_count() - 0.3; ++half) {
      const double beat = 0.3 + 0.5 * half;
      if (!is_sure_chord_at(std::llround(sample_of_beat(item, beat)))) return false;
    }
    return true;
  }

  void make_chords() {
    for (const take::ChordSpan& span : take_.chords) {
      if (span.state != take::State::confirmed || !span.chord.root_pc) continue;
      const double begin = sheet::beat_position(grid_, span.begin_samples);
      const double end = sheet::beat_position(grid_, span.end_samples);
      if (end - begin < 1.9) continue;
      const std::optional<std::size_t> bar = bar_at(span.begin_samples);
      if (!bar) continue;
      auto item = frame(Kind::name_the_chord, *bar, 1, false);
      if (!item) continue;
      const double from = beat_of_sample(*item, static_cast<double>(span.begin_samples));
      for (std::size_t i = 0; i < item->chords.size(); ++i) {
        if (std::abs(item->chords[i].beat - from) < 0.02) item->asked = i;
      }
      // Only the chord itself is heard, to the end of its bar.
      item->stretch.begin_samples = std::max(item->stretch.begin_samples, span.begin_samples);
      item->stretch.end_samples = std::min(item->stretch.end_samples, span.end_samples);
      add(std::move(*item), span.begin_samples);
    }
  }

  void make_line(Kind kind, std::size_t first, std::size_t bar_count) {
    auto item = frame(kind, first, bar_count, true);
    if (!item) return;
    const auto sounding = std::count_if(item->notes.begin(), item->notes.end(),
                                        [](const ItemNote& note) { return !note.is_dead; });
    if (sounding < 2) return;
    add(std::move(*item), first_sample(first));
  }

  void make_hidden() {
    bool has_any = false;
    for (const take::Passage& passage : take_.passages) {
      if (options_.passage && passage.name != *options_.passage) continue;
      std::optional<std::size_t> first;
      std::size_t count = 0;
      const std::int64_t slack =
          grid_.size() > 1 ? (grid_[1].time_samples - grid_[0].time_samples) / 2 : 0;
      for (std::size_t i = 0; i < bars_.size(); ++i) {
        const std::int64_t begin = first_sample(i);
        const std::int64_t end = grid_[bars_[i].first + bars_[i].count].time_samples;
        if (begin < passage.begin_samples - slack || end > passage.end_samples + slack) continue;
        if (!first) first = i;
        ++count;
      }
      if (!first || count < 2) continue;
      has_any = true;
      make_line(Kind::hide_and_work_out, *first, count);
    }
    if (has_any || options_.passage) return;
    const auto bar_count = static_cast<std::size_t>(std::max(1, options_.longest_hidden_bars));
    for (std::size_t i = 0; i + bar_count <= bars_.size(); i += bar_count) {
      make_line(Kind::hide_and_work_out, i, bar_count);
    }
  }

  [[nodiscard]] std::int64_t first_sample(std::size_t bar) const {
    return grid_[bars_[bar].first].time_samples;
  }

  /// The bar that a moment lies in; up to a quarter of a beat ahead of a bar counts as its one.
  [[nodiscard]] std::optional<std::size_t> bar_at(std::int64_t sample) const {
    const double position = sheet::beat_position(grid_, sample) + 0.25;
    const auto after = std::ranges::upper_bound(
        bars_, position, {}, [](const Bar& bar) { return static_cast<double>(bar.first); });
    if (after == bars_.begin()) return std::nullopt;
    const Bar& bar = *std::prev(after);
    if (position >= static_cast<double>(bar.first + bar.count)) return std::nullopt;
    return static_cast<std::size_t>(&bar - bars_.data());
  }

  const take::Take& take_;
  const ItemOptions& options_;
  std::vector<sheet::GridBeat> grid_;
  std::vector<std::optional<theory::NoteRole>> roles_;
  std::vector<Bar> bars_;
  std::vector<Item> items_;
};

}  // namespace

std::vector<Item> items_of(const take::Take& take, const ItemOptions& options) {
  return Maker(take, options).items();
}

}  // namespace lowstride::drill
