#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

/// One option of `lowstride edit` as it was typed, without dashes: {"set-note", "b3:2=Eb2"}.
struct EditOption {
  std::string name;
  std::string value;
};

/// Options that `edit_from_options` understands, with what their values look like; for `--help`
/// and for telling them from other options.
struct EditOptionHelp {
  std::string_view name;     // "set-note"
  std::string_view value;    // "T=PITCH"
  std::string_view meaning;  // one sentence
};
[[nodiscard]] const std::vector<EditOptionHelp>& edit_option_help();

/// One step out of all options of one call, in the order typed; each sees what those before it did.
///   confirm all|T|FROM..TO  remove T|FROM..TO       add-note FROM..TO=PITCH   set-note T=PITCH
///   dead T                  set-chord T=LABEL|FROM..TO=LABEL                  remove-chord T
///   beat-one T[=BAR]        add-beat T              remove-beat T             move-beat T=T
///   meter 3/4               key Bb|Gm               tuning HZ
///   pin T=STRING:FRET[:FINGER]      unpin all|T|FROM..TO
///   hammer T   slide T   pluck T
///   title TEXT              composer TEXT           form TEXT
///   passage NAME=FROM..TO   remove-passage NAME     doubt T|FROM..TO
///   remark T=TEXT (a bar as b3, else the note there)                          remove-remark T
/// Times as in time_text.hpp. T means the note that begins nearest within 0.15 s, or else the one
/// that sounds there; the nearest beat; the chord there. A chord set within a quarter of a beat of
/// a beat is set on it. A stretch of notes given in bars takes in those played up to 50 ms ahead of
/// its first beat. A passage of a name that is there is moved. Pitches are names (`E1`, `Bb2`; C4 =
/// 60) or numbers 0..127. Errors: invalid_argument or not_found, one sentence naming the option as
/// typed.
[[nodiscard]] Result<EditGroup> edit_from_options(const Take& take,
                                                  const std::vector<EditOption>& options);

}  // namespace lowstride::take
