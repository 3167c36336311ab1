#include "src/take/json_archive.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace lowstride::take::detail {
namespace {

template <typename Number>
void append_digits(std::string& out, Number number) {
  std::array<char, 32> digits{};
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  out.append(digits.data(), end);
}

void append_scalar(std::string& out, const Json& json) {
  if (json.is_string()) {
    append_text(out, json.get_ref<const std::string&>());
  } else if (json.is_number_unsigned()) {
    append_number(out, json.get<std::uint64_t>());
  } else if (json.is_number_integer()) {
    append_number(out, json.get<std::int64_t>());
  } else if (json.is_number_float()) {
    append_number(out, json.get<double>());
  } else {
    out += json.dump();
  }
}

}  // namespace

// The library's `dump` sets up a whole serializer for each value: ten times the cost of the value.
void append_text(std::string& out, const std::string& text) {
  const bool is_simple = std::all_of(text.begin(), text.end(), [](char c) {
    return c >= ' ' && c < '\x7F' && c != '"' && c != '\\';
  });
  if (is_simple) {
    out += '"';
    out += text;
    out += '"';
  } else {
    out += Json(text).dump(-1, ' ', false, Json::error_handler_t::replace);
  }
}

void append_number(std::string& out, std::int64_t number) { append_digits(out, number); }

void append_number(std::string& out, std::uint64_t number) { append_digits(out, number); }

void append_number(std::string& out, double number) {
  if (!std::isfinite(number)) {
    out += "null";
    return;
  }
  const std::size_t begin = out.size();
  append_digits(out, number);
  // "440" would be read as a whole number.
  if (out.find_first_of(".e", begin) == std::string::npos) out += ".0";
}

void JsonWriter::merge(Json& into, const Json& from, bool is_top) const {
  for (const auto& [name, value] : from.items()) {
    const auto present = into.find(name);
    if (present != into.end()) {
      if (present->is_object() && value.is_object()) merge(*present, value, false);
      continue;
    }
    // What was said inside of something that is no longer there goes with it.
    const bool is_inside_nothing =
        is_top && std::find(left_out_.begin(), left_out_.end(), name) != left_out_.end();
    if (!is_inside_nothing) into.push_back({name, value});
  }
}

void JsonWriter::unknown(const std::string& fields_json) {
  if (fields_json.empty()) return;
  if (const auto parsed = parse_json(fields_json); parsed && parsed->is_object()) {
    merge(object_, *parsed, true);
  }
}

void JsonReader::unknown(std::string& fields_json) {
  fields_json.clear();
  if (!is_good_) return;
  Json kept = take_residue();
  if (!kept.is_null()) append_line(fields_json, kept);
}

Json JsonReader::take_residue() {
  if (is_good_ && found_count_ < object_.size()) {
    for (const auto& [name, value] : object_.items()) {
      if (std::find(known_.begin(), known_.end(), name) == known_.end()) residue_[name] = value;
    }
    found_count_ = object_.size();
  }
  return std::exchange(residue_, Json());
}

void append_line(std::string& out, const Json& json) {
  if (json.is_array()) {
    out += '[';
    for (std::size_t i = 0; i < json.size(); ++i) {
      if (i > 0) out += ", ";
      append_line(out, json[i]);
    }
    out += ']';
  } else if (json.is_object()) {
    out += '{';
    bool is_first = true;
    for (const auto& [name, value] : json.items()) {
      if (!is_first) out += ", ";
      is_first = false;
      append_text(out, name);
      out += ": ";
      append_line(out, value);
    }
    out += '}';
  } else {
    append_scalar(out, json);
  }
}

std::optional<Json> parse_json(std::string_view text) {
  int depth = 0;
  bool is_in_string = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (is_in_string) {
      if (c == '\\') ++i;
      if (c == '"') is_in_string = false;
    } else if (c == '"') {
      is_in_string = true;
    } else if (c == '[' || c == '{') {
      if (++depth > deepest_json) return std::nullopt;
    } else if (c == ']' || c == '}') {
      --depth;
    }
  }
  Json json = Json::parse(text.begin(), text.end(), nullptr, false);
  if (json.is_discarded()) return std::nullopt;
  return json;
}

}  // namespace lowstride::take::detail
