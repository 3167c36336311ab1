#include "src/drill/variation.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <random>
#include <string_view>

#include <fmt/format.h>

#include "dsp/base/contracts.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::drill {
namespace {

/// FNV-1a, 32 bits (Fowler, Noll & Vo; RFC 9923): the same on every machine.
std::uint32_t hash_of(std::string_view text) {
  std::uint32_t hash = 2166136261U;
  for (const char byte : text) hash = (hash ^ static_cast<unsigned char>(byte)) * 16777619U;
  return hash;
}

struct Change {
  int midi = 0;
  std::string text;
};

constexpr std::array<std::string_view, 12> degree_names{
    "root",       "flat second", "second",      "minor third", "major third",   "fourth",
    "flat fifth", "fifth",       "sharp fifth", "sixth",       "minor seventh", "major seventh"};

std::vector<Change> changes_of(const Item& item, const ItemNote& note) {
  std::vector<Change> all{{note.midi + 1, "a semitone higher"},
                          {note.midi - 1, "a semitone lower"},
                          {note.midi + 12, "an octave higher"},
                          {note.midi - 12, "an octave lower"}};
  const ItemChord* chord = nullptr;
  for (const ItemChord& one : item.chords) {
    if (one.beat <= note.beat + 0.1) chord = &one;
  }
  if (chord != nullptr && chord->chord.root_pc) {
    const int root = *chord->chord.root_pc;
    const unsigned tones = dsp::chord_tone_mask(chord->chord.quality);
    const auto degree_of = [&](int midi) {
      return static_cast<std::size_t>((midi - root + 120) % 12);
    };
    for (int offset = -7; offset <= 7; ++offset) {
      const std::size_t degree = degree_of(note.midi + offset);
      if (std::abs(offset) < 2 || ((tones >> degree) & 1U) == 0U) continue;
      all.push_back(
          {note.midi + offset, fmt::format("the {} of {} in place of the {}", degree_names[degree],
                                           chord->name, degree_names[degree_of(note.midi)])});
    }
  }
  const int shift = 12 * item.octave_shift;
  std::erase_if(all, [&](const Change& change) {
    return change.midi + shift < neck::lowest_midi(item.neck) ||
           change.midi + shift > neck::highest_midi(item.neck);
  });
  if (all.empty()) all.push_back({note.midi + 1, "a semitone higher"});
  return all;
}

}  // namespace

Variation vary(const Item& item, int seed) {
  std::vector<std::size_t> sounding;
  for (std::size_t i = 0; i < item.notes.size(); ++i) {
    if (!item.notes[i].is_dead) sounding.push_back(i);
  }
  LOWSTRIDE_EXPECTS(!sounding.empty());
  std::mt19937 random(hash_of(item.key) + static_cast<std::uint32_t>(seed) * 2654435761U);
  // The standard's engines are the same everywhere, its distributions are not.
  const auto pick = [&random](std::size_t count) {
    return static_cast<std::size_t>(random()) % count;
  };
  Variation variation;
  variation.note_index = sounding[pick(sounding.size())];
  const std::vector<Change> changes = changes_of(item, item.notes[variation.note_index]);
  const Change& change = changes[pick(changes.size())];
  variation.altered_midi = change.midi;
  variation.change = change.text;
  variation.right_index = static_cast<int>(pick(2));
  variation.first = item.notes;
  variation.second = item.notes;
  auto& altered = variation.right_index == 0 ? variation.second : variation.first;
  altered[variation.note_index].midi = change.midi;
  return variation;
}

}  // namespace lowstride::drill
