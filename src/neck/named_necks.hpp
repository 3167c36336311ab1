#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::neck {

/// The necks that have a name: bass, bass5, bass6, guitar, guitar-drop-d, and so on. String pitches
/// and scale lengths: common practice (864 mm = 34 in, 648 mm = 25.5 in).
[[nodiscard]] std::span<const Neck> named_necks();

/// A neck by its name, small or capital letters. Errors: not_found, listing the names.
[[nodiscard]] Result<Neck> find_neck(std::string_view name);

/// `neck` with another tuning: one pitch a string, lowest string first, "E1 A1 D2 G2" (spaces or
/// commas), or the name of a named neck. The number of strings may change. Errors:
/// invalid_argument.
[[nodiscard]] Result<Neck> with_tuning(Neck neck, std::string_view text);

/// Whether the neck makes sense: 1..12 strings of 0..127, 1..36 frets, capo below the last fret,
/// scale 200..1500 mm. Errors: invalid_argument, naming the value and the cure.
[[nodiscard]] Result<void> check(const Neck& neck);

/// Whether a hand's wishes make sense on a neck: a position from 0 to the last fret, a span of
/// 40..300 mm, one string at least that is not left out. Errors: invalid_argument, as `check`.
[[nodiscard]] Result<void> check_options(const Neck& neck, const FingeringOptions& options);

/// "E1 A1 D2 G2": the open strings without the capo, lowest string first.
[[nodiscard]] std::string tuning_text(const Neck& neck);
/// True when the strings are those of the named neck `bass`, `bass5`, `bass6` or `guitar`.
[[nodiscard]] bool is_standard_tuning(const Neck& neck);
/// Names of the strings for tab, highest string first: "G" "D" "A" "E". The highest string is in
/// small letters when a lower one has the same name ("e" on a guitar). The capo changes nothing.
[[nodiscard]] std::vector<std::string> string_names(const Neck& neck);

/// Sounding pitch of a string stopped at a fret counted from the capo. `string_number` 1..count.
[[nodiscard]] int sounding_midi(const Neck& neck, int string_number, int fret);
[[nodiscard]] int lowest_midi(const Neck& neck);
[[nodiscard]] int highest_midi(const Neck& neck);
/// The last fret as counted from the capo.
[[nodiscard]] int last_fret(const Neck& neck) noexcept;

/// Millimetres from the nut to a fret counted from the nut: L (1 - 2^(-n/12)).
/// Source: twelve-tone equal temperament; fret 12 lies at half the scale.
[[nodiscard]] double fret_distance_mm(double scale_mm, int fret) noexcept;

}  // namespace lowstride::neck
