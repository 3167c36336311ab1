#include "src/take/commands.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <utility>

#include "src/take/command_places.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::take {
namespace {

struct Pair {
  std::string_view left;
  std::string_view right;
};

/// The two sides of the last '=' of a value.
Result<Pair> sides(std::string_view value, std::string_view form) {
  const std::size_t at = value.rfind('=');
  if (at == std::string_view::npos || at == 0 || at + 1 == value.size()) {
    return fail(ErrorCode::invalid_argument, fmt::format("it takes {}.", form));
  }
  return Pair{value.substr(0, at), value.substr(at + 1)};
}

std::optional<double> number_in(std::string_view text) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// The options of one call on their way to become one step.
class Maker {
 public:
  explicit Maker(const Take& take) : draft_(take) {}

  Result<void> add(const EditOption& option);
  [[nodiscard]] EditGroup take_group() { return std::move(group_); }

 private:
  using Method = Result<void> (Maker::*)(std::string_view value);
  struct Entry {
    std::string_view name;
    Method method;
  };

  Result<void> confirm(std::string_view value);
  Result<void> remove(std::string_view value);
  Result<void> add_note(std::string_view value);
  Result<void> set_note(std::string_view value);
  Result<void> dead(std::string_view value);
  Result<void> doubt(std::string_view value);
  Result<void> pin(std::string_view value);
  Result<void> unpin(std::string_view value);
  Result<void> pluck(std::string_view value) {
    return articulate(value, neck::Articulation::plucked);
  }
  Result<void> hammer(std::string_view value) {
    return articulate(value, neck::Articulation::hammered);
  }
  Result<void> slide(std::string_view value) { return articulate(value, neck::Articulation::slid); }
  Result<void> articulate(std::string_view value, neck::Articulation articulation);
  Result<void> set_chord(std::string_view value);
  Result<void> remove_chord(std::string_view value);
  Result<void> beat_one(std::string_view value);
  Result<void> add_beat(std::string_view value);
  Result<void> remove_beat(std::string_view value);
  Result<void> move_beat(std::string_view value);
  Result<void> meter(std::string_view value);
  Result<void> key(std::string_view value);
  Result<void> tuning(std::string_view value);
  Result<void> title(std::string_view value) { return push(SetTitle{std::string(value)}); }
  Result<void> composer(std::string_view value) { return push(SetComposer{std::string(value)}); }
  Result<void> form(std::string_view value) { return push(SetForm{std::string(value)}); }
  Result<void> passage(std::string_view value);
  Result<void> remove_passage(std::string_view value);
  Result<void> remark(std::string_view value);
  Result<void> remove_remark(std::string_view value);

  Result<void> push(Edit edit) {
    auto undo = take::apply(draft_, edit);
    if (!undo) return tl::unexpected(std::move(undo.error()));
    group_.edits.push_back(std::move(edit));
    return {};
  }

  [[nodiscard]] Result<std::int64_t> time(std::string_view text) const {
    return parse_time(text, draft_);
  }
  Take draft_;
  EditGroup group_;
};

Result<void> Maker::confirm(std::string_view value) {
  if (value == "all") {
    return push(Confirm{.tuning = true, .meter = true, .key = draft_.key.has_value()})
        .and_then([&] {
          return push(ConfirmStretch{0, draft_.length_samples});
        });
  }
  if (!detail::is_stretch_text(value)) {
    auto here = detail::what_begins_at(draft_, value);
    if (!here) return tl::unexpected(here.error());
    return push(std::move(*here));
  }
  const auto stretch = detail::bars_or_times(draft_, value);
  if (!stretch) return tl::unexpected(stretch.error());
  return push(ConfirmStretch{stretch->begin_samples, stretch->end_samples});
}

Result<void> Maker::remove(std::string_view value) {
  const auto ids = detail::notes_in(draft_, value);
  if (!ids) return tl::unexpected(ids.error());
  for (const NoteId id : *ids) {
    if (auto outcome = push(RemoveNote{id}); !outcome) return outcome;
  }
  return {};
}

Result<void> Maker::doubt(std::string_view value) {
  const auto ids = detail::notes_in(draft_, value);
  if (!ids) return tl::unexpected(ids.error());
  return push(MarkDoubtful{.notes = *ids});
}

Result<void> Maker::add_note(std::string_view value) {
  const auto pair = sides(value, "FROM..TO=PITCH, as in b3..b3:2=E1");
  if (!pair) return tl::unexpected(pair.error());
  const auto stretch = parse_stretch(pair->left, draft_);
  if (!stretch) return tl::unexpected(stretch.error());
  const auto midi = theory::parse_pitch(pair->right);
  if (!midi) return tl::unexpected(midi.error());
  return push(AddNote{stretch->begin_samples, stretch->end_samples, *midi, false});
}

Result<void> Maker::set_note(std::string_view value) {
  const auto pair = sides(value, "T=PITCH, as in b3:2=Eb2");
  if (!pair) return tl::unexpected(pair.error());
  const auto note = detail::note_at(draft_, pair->left);
  if (!note) return tl::unexpected(note.error());
  const auto midi = theory::parse_pitch(pair->right);
  if (!midi) return tl::unexpected(midi.error());
  return push(ReplaceNote{.id = note->id, .midi = *midi, .is_dead = false});
}

Result<void> Maker::dead(std::string_view value) {
  const auto note = detail::note_at(draft_, value);
  if (!note) return tl::unexpected(note.error());
  return push(ReplaceNote{.id = note->id, .is_dead = true});
}

Result<void> Maker::pin(std::string_view value) {
  const std::string_view form = "T=STRING:FRET or T=STRING:FRET:FINGER, as in b3:2=2:5";
  const auto pair = sides(value, form);
  if (!pair) return tl::unexpected(pair.error());
  const auto note = detail::note_at(draft_, pair->left);
  if (!note) return tl::unexpected(note.error());
  std::vector<int> numbers;
  std::string_view rest = pair->right;
  while (true) {
    const std::size_t colon = rest.find(':');
    const auto number = number_in(rest.substr(0, colon));
    if (!number || *number != std::floor(*number) || *number < 0 || *number > 99) {
      return fail(ErrorCode::invalid_argument, fmt::format("it takes {}.", form));
    }
    numbers.push_back(static_cast<int>(*number));
    if (colon == std::string_view::npos) break;
    rest.remove_prefix(colon + 1);
  }
  if (numbers.size() < 2 || numbers.size() > 3) {
    return fail(ErrorCode::invalid_argument, fmt::format("it takes {}.", form));
  }
  return push(PinPosition{
      note->id, neck::Position{numbers[0], numbers[1], numbers.size() == 3 ? numbers[2] : 0}});
}

Result<void> Maker::unpin(std::string_view value) {
  if (value == "all") {
    for (const Note& note : std::vector<Note>(draft_.notes)) {
      if (!note.is_position_pinned) continue;
      if (auto outcome = push(PinPosition{note.id, std::nullopt}); !outcome) return outcome;
    }
    return {};
  }
  const auto ids = detail::notes_in(draft_, value);
  if (!ids) return tl::unexpected(ids.error());
  for (const NoteId id : *ids) {
    if (auto outcome = push(PinPosition{id, std::nullopt}); !outcome) return outcome;
  }
  return {};
}

Result<void> Maker::articulate(std::string_view value, neck::Articulation articulation) {
  const auto note = detail::note_at(draft_, value);
  if (!note) return tl::unexpected(note.error());
  return push(SetArticulation{note->id, articulation});
}

Result<void> Maker::set_chord(std::string_view value) {
  const auto pair = sides(value, "T=LABEL, as in b5=Bb7");
  if (!pair) return tl::unexpected(pair.error());
  const auto chord = theory::parse_chord(pair->right);
  if (!chord) return tl::unexpected(chord.error());
  const auto stretch = detail::chord_stretch(draft_, pair->left);
  if (!stretch) return tl::unexpected(stretch.error());
  return push(SetChord{stretch->begin_samples, stretch->end_samples, chord->chord,
                       chord->is_exact ? std::string() : std::string(pair->right)});
}

Result<void> Maker::remove_chord(std::string_view value) {
  const auto at = time(value);
  if (!at) return tl::unexpected(at.error());
  for (const ChordSpan& span : draft_.chords) {
    if (span.begin_samples <= *at && *at < span.end_samples) return push(RemoveChord{span.id});
  }
  return fail(ErrorCode::not_found,
              fmt::format("there is no chord at {}; give another place.", value));
}

Result<void> Maker::beat_one(std::string_view value) {
  std::optional<int> bar;
  std::string_view place = value;
  if (const std::size_t at = value.rfind('='); at != std::string_view::npos) {
    const auto number = number_in(value.substr(at + 1));
    if (!number || *number != std::floor(*number) || std::abs(*number) > 1e5) {
      return fail(ErrorCode::invalid_argument, "it takes T or T=BAR, as in 0:12.4=1.");
    }
    bar = static_cast<int>(*number);
    place = value.substr(0, at);
  }
  const auto beat = detail::beat_at(draft_, place);
  if (!beat) return tl::unexpected(beat.error());
  return push(BeatOne{.id = beat->id, .bar = bar});
}

Result<void> Maker::add_beat(std::string_view value) {
  const auto at = time(value);
  if (!at) return tl::unexpected(at.error());
  return push(AddBeat{*at});
}

Result<void> Maker::remove_beat(std::string_view value) {
  const auto beat = detail::beat_at(draft_, value);
  if (!beat) return tl::unexpected(beat.error());
  return push(RemoveBeat{beat->id});
}

Result<void> Maker::move_beat(std::string_view value) {
  const auto pair = sides(value, "T=T, as in b3:2=0:14.250");
  if (!pair) return tl::unexpected(pair.error());
  const auto beat = detail::beat_at(draft_, pair->left);
  if (!beat) return tl::unexpected(beat.error());
  const auto to = time(pair->right);
  if (!to) return tl::unexpected(to.error());
  return push(MoveBeat{beat->id, *to});
}

Result<void> Maker::meter(std::string_view value) {
  std::string_view count = value;
  if (const std::size_t slash = value.find('/'); slash != std::string_view::npos) {
    if (value.substr(slash + 1) != "4") {
      return fail(ErrorCode::invalid_argument, "it takes a meter in quarters, as 4/4 or 3/4.");
    }
    count = value.substr(0, slash);
  }
  const auto number = number_in(count);
  if (!number || *number != std::floor(*number) || std::abs(*number) > 100) {
    return fail(ErrorCode::invalid_argument, "it takes a meter, as 4/4 or 3/4.");
  }
  return push(SetMeter{static_cast<int>(*number)});
}

Result<void> Maker::key(std::string_view value) {
  const auto key = theory::parse_key(value);
  if (!key) return tl::unexpected(key.error());
  return push(SetKey{key->tonic_pc, key->is_minor});
}

Result<void> Maker::tuning(std::string_view value) {
  const auto hz = number_in(value);
  if (!hz)
    return fail(ErrorCode::invalid_argument, "it takes the frequency of A4 in Hz, as 441.5.");
  return push(SetTuning{*hz});
}

Result<void> Maker::passage(std::string_view value) {
  const auto pair = sides(value, "NAME=FROM..TO, as in bridge=b17..b25");
  if (!pair) return tl::unexpected(pair.error());
  const auto stretch = parse_stretch(pair->right, draft_);
  if (!stretch) return tl::unexpected(stretch.error());
  const std::string name(pair->left);
  for (const Passage& passage : draft_.passages) {
    if (passage.name == name) {
      return push(ReplacePassage{passage.id, name, stretch->begin_samples, stretch->end_samples});
    }
  }
  return push(AddPassage{name, stretch->begin_samples, stretch->end_samples});
}

Result<void> Maker::remove_passage(std::string_view value) {
  for (const Passage& passage : draft_.passages) {
    if (passage.name == value) return push(RemovePassage{passage.id});
  }
  return fail(ErrorCode::not_found, "the take has no passage of that name.");
}

/// "b3" is the bar; a place inside a bar, or a time, is the note there.
Result<void> Maker::remark(std::string_view value) {
  const std::size_t at = value.find('=');
  if (at == std::string_view::npos || at == 0) {
    return fail(ErrorCode::invalid_argument, "it takes T=TEXT, as in b3=keep the thumb planted.");
  }
  const std::string_view place = value.substr(0, at);
  const std::string text(value.substr(at + 1));
  const bool is_bar = place.front() == 'b' && place.find(':') == std::string_view::npos;
  if (is_bar) {
    const auto bar = time(place);
    if (!bar) return tl::unexpected(bar.error());
    return push(AddRemark{.at_samples = *bar, .text = text});
  }
  const auto note = detail::note_at(draft_, place);
  if (!note) return tl::unexpected(note.error());
  return push(AddRemark{.note = note->id, .text = text});
}

Result<void> Maker::remove_remark(std::string_view value) {
  const auto at = time(value);
  if (!at) return tl::unexpected(at.error());
  const Remark* nearest = nullptr;
  for (const Remark& remark : draft_.remarks) {
    const auto distance = [&](const Remark& one) { return std::abs(place_of(draft_, one) - *at); };
    if (nearest == nullptr || distance(remark) < distance(*nearest)) nearest = &remark;
  }
  if (nearest == nullptr || std::abs(place_of(draft_, *nearest) - *at) >
                                detail::samples_of(draft_, detail::note_reach_seconds)) {
    return fail(ErrorCode::not_found, "there is no remark; give another place.");
  }
  return push(RemoveRemark{nearest->id});
}

Result<void> Maker::add(const EditOption& option) {
  static constexpr Entry entries[] = {
      {"confirm", &Maker::confirm},
      {"set-note", &Maker::set_note},
      {"remove", &Maker::remove},
      {"add-note", &Maker::add_note},
      {"dead", &Maker::dead},
      {"doubt", &Maker::doubt},
      {"hammer", &Maker::hammer},
      {"slide", &Maker::slide},
      {"pluck", &Maker::pluck},
      {"pin", &Maker::pin},
      {"unpin", &Maker::unpin},
      {"set-chord", &Maker::set_chord},
      {"remove-chord", &Maker::remove_chord},
      {"beat-one", &Maker::beat_one},
      {"add-beat", &Maker::add_beat},
      {"move-beat", &Maker::move_beat},
      {"remove-beat", &Maker::remove_beat},
      {"meter", &Maker::meter},
      {"key", &Maker::key},
      {"tuning", &Maker::tuning},
      {"title", &Maker::title},
      {"composer", &Maker::composer},
      {"form", &Maker::form},
      {"passage", &Maker::passage},
      {"remove-passage", &Maker::remove_passage},
      {"remark", &Maker::remark},
      {"remove-remark", &Maker::remove_remark},
  };
  const auto* const entry =
      std::find_if(std::begin(entries), std::end(entries),
                   [&](const Entry& candidate) { return candidate.name == option.name; });
  if (entry == std::end(entries)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("There is no edit '--{}'; see 'lowstride edit --help'.", option.name));
  }
  auto outcome = (this->*entry->method)(option.value);
  if (outcome) return outcome;
  return fail(outcome.error().code,
              fmt::format("--{} {}: {}", option.name, option.value, outcome.error().message));
}

}  // namespace

Result<EditGroup> edit_from_options(const Take& take, const std::vector<EditOption>& options) {
  Maker maker(take);
  for (const EditOption& option : options) {
    if (auto outcome = maker.add(option); !outcome) {
      return tl::unexpected(std::move(outcome.error()));
    }
  }
  return maker.take_group();
}

}  // namespace lowstride::take
