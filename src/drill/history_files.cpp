#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <system_error>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/drill/history.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::drill {
namespace {

constexpr const char* ending = ".history";

Result<std::filesystem::path> data_folder() {
  if (const char* data = std::getenv("XDG_DATA_HOME"); data != nullptr && data[0] == '/') {
    return std::filesystem::path(data) / "lowstride";
  }
  if (const char* home = std::getenv("HOME"); home != nullptr && home[0] == '/') {
    return std::filesystem::path(home) / ".local/share/lowstride";
  }
  return fail(ErrorCode::not_found,
              "There is no home for the drill history; set XDG_DATA_HOME to a folder.");
}

/// Quoted where RFC 4180 asks for it; and a text that a spreadsheet would take for a formula gets
/// an apostrophe before it.
std::string cell(const std::string& text) {
  std::string safe = text;
  if (!safe.empty() && (safe[0] == '=' || safe[0] == '+' || safe[0] == '-' || safe[0] == '@')) {
    safe.insert(safe.begin(), '\'');
  }
  if (safe.find_first_of(",\"\r\n") == std::string::npos) return safe;
  std::string quoted = "\"";
  for (const char letter : safe)
    quoted += letter == '"' ? std::string("\"\"") : std::string(1, letter);
  return quoted + '"';
}

std::string utc(UnixSeconds seconds) {
  const auto time = static_cast<std::time_t>(seconds);
  std::tm parts{};
  if (gmtime_r(&time, &parts) == nullptr) return {};
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z", parts.tm_year + 1900, parts.tm_mon + 1,
                     parts.tm_mday, parts.tm_hour, parts.tm_min, parts.tm_sec);
}

}  // namespace

Result<std::filesystem::path> history_path(std::string_view player) {
  const bool is_name = !player.empty() && player.size() <= 60 && player.front() != '.' &&
                       player.find('/') == std::string_view::npos &&
                       std::all_of(player.begin(), player.end(), [](char letter) {
                         return static_cast<unsigned char>(letter) >= 0x20 && letter != 0x7F;
                       });
  if (!is_name) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--player '{}' is no name for a file; use letters, figures and spaces.",
                            player));
  }
  auto folder = data_folder();
  if (!folder) return folder;
  return *folder / (std::string(player) + ending);
}

std::vector<std::string> known_players() {
  std::vector<std::string> players;
  const auto folder = data_folder();
  if (!folder) return players;
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(*folder, error)) {
    if (entry.path().extension() == ending) players.push_back(entry.path().stem().string());
  }
  std::sort(players.begin(), players.end());
  return players;
}

namespace {

/// The marks of a verdict with what the notes were.
std::vector<NoteRecord> note_records(const Item& item, const Verdict& verdict) {
  std::vector<NoteRecord> records;
  const auto add = [&](const MarkedNote& marked, const ItemNote* note) {
    NoteRecord kept{marked.beat,       marked.mark,  marked.right_midi,
                    marked.heard_midi, std::nullopt, std::nullopt};
    if (note != nullptr) {
      kept.role = note->role;
      kept.interval_semitones = note->interval_semitones;
    }
    records.push_back(kept);
  };
  std::size_t next = 0;
  for (const MarkedNote& marked : verdict.marks) {
    const ItemNote* note = nullptr;
    if (marked.right_midi && item.kind == Kind::find_the_note) note = &item.notes[item.asked];
    // Marks of a line come in the order of its notes.
    if (marked.right_midi && item.kind != Kind::find_the_note && next < item.notes.size())
      note = &item.notes[next++];
    add(marked, note);
  }
  if (item.kind == Kind::name_the_role) {
    const ItemNote& note = item.notes[item.asked];
    add({note.beat, verdict.is_right ? Mark::tick : Mark::open, note.midi, std::nullopt,
         std::nullopt},
        &note);
  }
  return records;
}

/// Where the question points to.
std::string asked_place(const Item& item) {
  const bool is_note = item.kind == Kind::find_the_note || item.kind == Kind::name_the_role;
  if (is_note) return beat_text(item, item.notes[item.asked].beat);
  if (item.kind == Kind::name_the_chord) {
    return beat_text(item, std::max(0.0, item.chords[item.asked].beat));
  }
  return item.place;
}

}  // namespace

AnswerRecord record_of(const Item& item, const Verdict& verdict, const Effort& effort, Grade grade,
                       double speed_ratio, UnixSeconds now,
                       const std::optional<Verdict>& first_try) {
  AnswerRecord record;
  record.item_key = item.key;
  record.take_key = item.take_key;
  record.kind = item.kind;
  record.answered_at = now;
  record.grade = grade;
  record.hint_count = effort.hint_count;
  record.wrong_try_count = effort.wrong_try_count;
  record.thinking_seconds = effort.thinking_seconds;
  record.speed_ratio = speed_ratio;
  record.tempo_bpm = item.tempo_bpm;
  record.share_right = verdict.share_right;
  record.points = points_of(verdict, effort);
  record.heard = verdict.heard;
  record.right = verdict.right;
  record.late_seconds = verdict.late_seconds;
  record.notes = note_records(item, verdict);
  if (first_try) {
    record.first_try =
        FirstTry{first_try->share_right, first_try->heard, note_records(item, *first_try)};
  }
  record.place = asked_place(item);
  if (item.tune_key) record.tune_key = theory::key_text(*item.tune_key);
  return record;
}

Result<void> History::export_csv(const std::filesystem::path& path) const {
  const auto all = answers();
  if (!all) return tl::unexpected(all.error());
  std::string text =
      "answered_at,take,item,kind,grade,days,hints,wrong_tries,thinking_s,speed,tempo_bpm,share_"
      "right,points,"
      "answered,right,late_s,place,key,first_answered\r\n";
  for (const AnswerRecord& answer : *all) {
    text += fmt::format(
        "{},{},{},{},{},{},{},{},{:.1f},{:.2f},{:.1f},{:.3f},{:.3f},{},{},{},{},{},{}\r\n",
        utc(answer.answered_at), cell(answer.take_key), cell(answer.item_key),
        kind_text(answer.kind), grade_text(answer.grade), answer.days, answer.hint_count,
        answer.wrong_try_count, answer.thinking_seconds, answer.speed_ratio, answer.tempo_bpm,
        answer.share_right, answer.points, cell(answer.heard), cell(answer.right),
        answer.late_seconds ? fmt::format("{:.3f}", *answer.late_seconds) : "", cell(answer.place),
        cell(answer.tune_key), cell(answer.first_heard()));
  }
  return write_file_atomically(path, text);
}

}  // namespace lowstride::drill
