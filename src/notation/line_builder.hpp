#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/neck.hpp"
#include "src/notation/read.hpp"
#include "src/take/take.hpp"

namespace lowstride::notation {

inline constexpr std::int64_t read_time_base_hz = 48000;

/// A note as a file has it, before the line is one voice.
struct ReadNote {
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;
  int midi = 0;  // sounding
  bool is_dead = false;
  take::State state = take::State::confirmed;
  double confidence = 1.0;
  std::optional<neck::Position> position = {};
};

/// Makes a line of one voice out of notes in any order and adds it to `read.take`: of notes that
/// begin together (within `together_samples`) the lowest stays, one that rings into the next is
/// cut. Remarks say how many were left out.
void add_line(ReadTake& read, std::vector<ReadNote> notes, std::int64_t together_samples);

/// Gives the take its neck: the asked one, else `from_file`, else the first named neck on which
/// every written position sounds its note, else the one that holds the line (bass before guitar).
/// Positions that the neck does not have are dropped with a remark. Sets the octave shift that the
/// positions tell of, 0 without positions.
void settle_neck(ReadTake& read, const ReadOptions& options,
                 const std::optional<neck::Neck>& from_file);

/// The last step of every reader: lengths, ids, and check_take. Errors: damaged, naming the file.
[[nodiscard]] Result<ReadTake> finished(ReadTake read, const std::filesystem::path& path);

/// "3 notes" / "1 note".
[[nodiscard]] std::string counted_notes(std::size_t count);

}  // namespace lowstride::notation
