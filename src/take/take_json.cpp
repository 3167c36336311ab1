#include "src/take/take_json.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <tuple>
#include <utility>
#include <vector>

#include "dsp/base/contracts.hpp"
#include "src/take/harmony.hpp"
#include "src/take/json_archive.hpp"
#include "src/take/take_fields.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take {
namespace detail {

/// A note as its line in the file has it: with its role, for those who read the file. The reader
/// here drops the role, since the rest of the take says it, and says it newly after each edit.
struct NoteLine {
  const Note* note = nullptr;
  std::optional<theory::NoteRole> role = {};
};

template <typename A, Is<NoteLine> N>
void fields(A& a, N& line) {
  fields(a, *line.note);
  if (!line.role) return;
  a("role", std::string(theory::role_text(line.role->role)));
  a("role_reason", line.role->reason);
}

}  // namespace detail

namespace {

using detail::Json;

constexpr std::array role_fields{"role", "role_reason"};

std::vector<detail::NoteLine> note_lines(const Take& take) {
  std::vector<std::optional<theory::NoteRole>> roles = roles_of(take);
  std::vector<detail::NoteLine> lines;
  lines.reserve(take.notes.size());
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    lines.push_back({&take.notes[i], std::move(roles[i])});
  }
  return lines;
}

class TakeWriter : public detail::TextWriter {
 public:
  TakeWriter(std::string& out, const std::vector<detail::NoteLine>& lines)
      : TextWriter(out, Layout::document), lines_(lines) {}

  using TextWriter::operator();
  void operator()(const char* name, const std::vector<Note>& /*notes*/,
                  const std::vector<Note>& /*absent*/) {
    if (!lines_.empty()) (*this)(name, lines_);
  }

 private:
  const std::vector<detail::NoteLine>& lines_;
};

/// The same by way of JSON, which what this version does not know is merged into.
Json whole_object(const Take& take, const std::vector<detail::NoteLine>& lines) {
  Json object = detail::object_of(take);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    object["notes"][i] = detail::object_of(lines[i]);
  }
  return object;
}

void drop_roles(Json& document) {
  const auto notes = document.find("notes");
  if (notes == document.end() || !notes->is_array()) return;
  for (Json& note : *notes) {
    if (!note.is_object()) continue;
    for (const char* name : role_fields) note.erase(name);
  }
}

constexpr const char* format_name = "lowstride-take";

/// Lists one entry a line, all else one field a line.
void append_fields(std::string& out, const Json& fields) {
  for (const auto& [name, value] : fields.items()) {
    out += ",\n  ";
    detail::append_line(out, Json(name));
    out += ": ";
    const bool is_list = value.is_array() && !value.empty() && value.front().is_object();
    if (!is_list) {
      detail::append_line(out, value);
      continue;
    }
    out += "[\n";
    for (std::size_t i = 0; i < value.size(); ++i) {
      out += "    ";
      detail::append_line(out, value[i]);
      out += i + 1 < value.size() ? ",\n" : "\n";
    }
    out += "  ]";
  }
}

void make_plain(std::string& text) {
  if (!is_plain_text(text)) text = to_plain_text(text);
}

/// A hand-edited file may hold a line break in a title or passages and remarks in another order:
/// harmless.
void tidy(Take& take) {
  make_plain(take.title);
  make_plain(take.composer);
  make_plain(take.form);
  for (Passage& passage : take.passages) make_plain(passage.name);
  for (Remark& remark : take.remarks) make_plain(remark.text);
  std::ranges::stable_sort(take.remarks, {}, [](const Remark& remark) {
    return std::tuple(remark.at_samples, remark.id);
  });
  std::stable_sort(take.passages.begin(), take.passages.end(),
                   [](const Passage& a, const Passage& b) {
                     return std::tie(a.begin_samples, a.end_samples, a.id) <
                            std::tie(b.begin_samples, b.end_samples, b.id);
                   });
}

}  // namespace

std::string take_to_json(const Take& take) {
  LOWSTRIDE_EXPECTS(check_take(take).has_value());
  std::string text =
      fmt::format("{{\n  \"format\": \"{}\",\n  \"version\": {}", format_name, take_format_version);
  const std::size_t begin = text.size();
  text += ",\n  ";
  const std::vector<detail::NoteLine> lines = note_lines(take);
  TakeWriter writer(text, lines);
  detail::fields(writer, take);
  if (writer.has_unknown()) {
    text.resize(begin);
    append_fields(text, whole_object(take, lines));
  }
  return text + "\n}\n";
}

Result<Take> take_from_json(std::string_view text, std::string_view name) {
  auto document = detail::parse_json(text);
  if (!document || !document->is_object()) {
    return fail(
        ErrorCode::damaged,
        fmt::format("'{}' is damaged or not a take; name a take, or take a recording in with "
                    "lowstride lift first.",
                    name));
  }
  const auto format = document->find("format");
  if (format == document->end() || *format != format_name) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' is not a take; name a file that Lowstride saved.", name));
  }
  int version = 0;
  const auto version_field = document->find("version");
  if (version_field == document->end() || !detail::from_json(*version_field, version) ||
      version < 1) {
    return fail(ErrorCode::damaged,
                fmt::format("'{}' does not say which version of a take it is; mend it, or lift its "
                            "recording to another place (-o).",
                            name));
  }
  if (version > take_format_version) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' was saved by a newer Lowstride (format {}, and this one reads up "
                            "to {}); open it with that one. The file was not changed.",
                            name, version, take_format_version));
  }
  document->erase("format");
  document->erase("version");
  drop_roles(*document);
  Take take;
  detail::JsonReader reader(*document);
  detail::fields(reader, take);
  if (!reader.is_good()) {
    return fail(
        ErrorCode::damaged,
        fmt::format("'{}' is damaged: '{}' is missing or makes no sense; mend it, or lift its "
                    "recording to another place (-o).",
                    name, reader.fault()));
  }
  tidy(take);
  if (auto outcome = check_take(take); !outcome) {
    return fail(
        ErrorCode::damaged,
        fmt::format("'{}' is damaged: {} Mend it, or lift its recording to another place (-o).",
                    name, outcome.error().message));
  }
  return take;
}

}  // namespace lowstride::take
