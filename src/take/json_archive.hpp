#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "src/take/json_values.hpp"

// How values become JSON and come back, without exceptions. A struct lists its fields once:
//   template <typename A, Is<Passage> P> void fields(A& a, P& passage) {
//     a("name", passage.name);
//     a("begin_samples", passage.begin_samples);
//   }
// and both JsonWriter and JsonReader go through that list. Inside of src/take alone.
namespace lowstride::take::detail {

template <typename Candidate, typename Type>
concept Is = std::same_as<std::remove_const_t<Candidate>, Type>;

// ---- Structs ---------------------------------------------------------------------------------

class JsonWriter {
 public:
  explicit JsonWriter(Json& object) : object_(object) { object_ = Json::object(); }

  template <typename Value>
  void operator()(const char* name, const Value& value) {
    object_.push_back({name, make(value)});
  }
  /// Left out when it is `absent`.
  template <typename Value>
  void operator()(const char* name, const Value& value, const std::type_identity_t<Value>& absent) {
    if (value == absent) {
      left_out_.push_back(name);
    } else {
      (*this)(name, value);
    }
  }
  /// Writes again what was not known when it was read; comes after all fields.
  void unknown(const std::string& fields_json);

 private:
  template <typename Value>
  static Json make(const Value& value);
  void merge(Json& into, const Json& from, bool is_top) const;

  Json& object_;
  std::vector<std::string_view> left_out_;
};

class JsonReader {
 public:
  explicit JsonReader(const Json& object) : object_(object) {
    if (!object.is_object()) fail("");
  }

  template <typename Value>
  void operator()(const char* name, Value& value) {
    known_.push_back(name);
    if (!is_good_) return;
    const auto found = object_.find(name);
    if (found == object_.end()) {
      fail(name);
    } else {
      ++found_count_;
      take_in(name, *found, value);
    }
  }
  template <typename Value>
  void operator()(const char* name, Value& value, const std::type_identity_t<Value>& absent) {
    known_.push_back(name);
    if (!is_good_) return;
    const auto found = object_.find(name);
    if (found == object_.end()) {
      value = absent;
    } else {
      ++found_count_;
      take_in(name, *found, value);
    }
  }
  /// Keeps the fields that no call named, as a JSON object or ""; comes after all fields.
  void unknown(std::string& fields_json);

  [[nodiscard]] bool is_good() const noexcept { return is_good_; }
  /// The field at fault, with those around it: "notes[3].midi".
  [[nodiscard]] const std::string& fault() const noexcept { return fault_; }
  /// What inner structs that keep nothing themselves did not know, and after `unknown` nothing.
  [[nodiscard]] Json take_residue();

 private:
  void fail(std::string fault) {
    if (is_good_) fault_ = std::move(fault);
    is_good_ = false;
  }
  template <typename Value>
  void take_in(const std::string& name, const Json& json, Value& value);
  template <typename Value>
  bool take_one(const Json& json, Value& value, std::string& inner_fault, Json& residue);

  const Json& object_;
  std::vector<std::string_view> known_;
  std::size_t found_count_ = 0;
  Json residue_;  // null or an object
  std::string fault_;
  bool is_good_ = true;
};

template <typename Type>
inline constexpr bool is_vector = false;
template <typename Entry>
inline constexpr bool is_vector<std::vector<Entry>> = true;
template <typename Type>
inline constexpr bool is_optional = false;
template <typename Entry>
inline constexpr bool is_optional<std::optional<Entry>> = true;

/// Declared by each struct beside its fields, so that single values are told from structs.
template <typename Type>
concept HasFields = requires(JsonWriter& writer, const Type& value) {
  fields(writer, value);
};

template <typename Value>
Json JsonWriter::make(const Value& value) {
  if constexpr (is_vector<Value>) {
    Json list = Json::array();
    for (const auto& entry : value) list.push_back(make(entry));
    return list;
  } else if constexpr (is_optional<Value>) {
    return value ? make(*value) : Json();
  } else if constexpr (HasFields<Value>) {
    Json object;
    JsonWriter writer(object);
    fields(writer, value);
    return object;
  } else {
    return to_json(value);
  }
}

template <typename Value>
bool JsonReader::take_one(const Json& json, Value& value, std::string& inner_fault, Json& residue) {
  if constexpr (is_vector<Value>) {
    if (!json.is_array()) return false;
    value.clear();
    value.reserve(json.size());
    for (const Json& entry : json) {
      Json dropped;
      std::string fault;
      if (!take_one(entry, value.emplace_back(), fault, dropped)) {
        inner_fault = "[" + std::to_string(value.size()) + "]" +
                      (fault.empty() || fault.front() == '[' ? "" : ".") + fault;
        return false;
      }
    }
    return true;
  } else if constexpr (is_optional<Value>) {
    if (json.is_null()) {
      value.reset();
      return true;
    }
    return take_one(json, value.emplace(), inner_fault, residue);
  } else if constexpr (HasFields<Value>) {
    JsonReader reader(json);
    if (reader.is_good()) fields(reader, value);
    if (!reader.is_good()) {
      inner_fault = reader.fault();
      return false;
    }
    residue = reader.take_residue();
    return true;
  } else {
    return from_json(json, value);
  }
}

template <typename Value>
void JsonReader::take_in(const std::string& name, const Json& json, Value& value) {
  std::string fault;
  Json residue;
  if (!take_one(json, value, fault, residue)) {
    fail(name + (fault.empty() || fault.front() == '[' ? "" : ".") + fault);
  } else if (!residue.is_null()) {
    residue_[name] = std::move(residue);
  }
}

/// One value with `fields` as JSON.
template <HasFields Value>
[[nodiscard]] Json object_of(const Value& value) {
  Json object;
  JsonWriter writer(object);
  fields(writer, value);
  return object;
}

/// JSON on one line with blanks after ':' and ',', as people write it. Bytes that are no UTF-8
/// become U+FFFD.
void append_line(std::string& out, const Json& json);
void append_text(std::string& out, const std::string& text);
void append_number(std::string& out, std::int64_t number);
void append_number(std::string& out, std::uint64_t number);
void append_number(std::string& out, double number);

/// Writes the same text as `append_line(out, object_of(value))` without making JSON in between,
/// which costs ten times as much. A type may bring an `append_json(out, value)` of its own, which
/// writes what its `to_json` would say. As a document each field, and each struct of a list, has a
/// line.
class TextWriter {
 public:
  enum class Layout { line, document };
  /// `is_first`: no field of the object stands in `out` yet.
  TextWriter(std::string& out, Layout layout, bool is_first = true)
      : out_(out), layout_(layout), is_first_(is_first) {}

  template <typename Value>
  void operator()(const char* name, const Value& value) {
    begin_field(name);
    append(value, layout_);
  }
  template <typename Value>
  void operator()(const char* name, const Value& value, const std::type_identity_t<Value>& absent) {
    if (!(value == absent)) (*this)(name, value);
  }
  void unknown(const std::string& fields_json) { has_unknown_ = !fields_json.empty(); }

  /// The struct holds fields that must be merged in: it is written by way of JSON.
  [[nodiscard]] bool has_unknown() const noexcept { return has_unknown_; }

 private:
  void begin_field(const char* name) {
    if (!is_first_) out_ += layout_ == Layout::document ? ",\n  " : ", ";
    is_first_ = false;
    out_ += '"';
    out_ += name;
    out_ += "\": ";
  }
  template <typename Value>
  void append(const Value& value, Layout layout);

  std::string& out_;
  Layout layout_;
  bool is_first_;
  bool has_unknown_ = false;
};

template <typename Value>
void TextWriter::append(const Value& value, Layout layout) {
  if constexpr (is_vector<Value>) {
    const bool has_lines =
        layout == Layout::document && !value.empty() && HasFields<typename Value::value_type>;
    out_ += has_lines ? "[\n    " : "[";
    bool is_first = true;
    for (const auto& entry : value) {
      if (!is_first) out_ += has_lines ? ",\n    " : ", ";
      is_first = false;
      append(entry, Layout::line);
    }
    out_ += has_lines ? "\n  ]" : "]";
  } else if constexpr (is_optional<Value>) {
    if (value) {
      append(*value, layout);
    } else {
      out_ += "null";
    }
  } else if constexpr (HasFields<Value>) {
    const std::size_t begin = out_.size();
    out_ += '{';
    TextWriter inner(out_, Layout::line);
    fields(inner, value);
    out_ += '}';
    if (inner.has_unknown()) {
      out_.resize(begin);
      append_line(out_, object_of(value));
    }
  } else if constexpr (std::is_same_v<Value, std::string>) {
    append_text(out_, value);
  } else if constexpr (std::is_same_v<Value, double> || std::is_same_v<Value, std::int64_t>) {
    append_number(out_, value);
  } else if constexpr (std::is_same_v<Value, int>) {
    append_number(out_, std::int64_t{value});
  } else if constexpr (std::is_enum_v<Value> && sizeof(Value) == sizeof(std::uint64_t)) {
    append_number(out_, static_cast<std::uint64_t>(value));
  } else if constexpr (std::is_same_v<Value, dsp::PitchCandidate>) {
    out_ += '[';
    append_number(out_, std::int64_t{value.midi});
    out_ += ", ";
    append_number(out_, value.probability);
    out_ += ']';
  } else if constexpr (requires { append_json(out_, value); }) {
    append_json(out_, value);
  } else {
    append_line(out_, to_json(value));
  }
}

/// The text's JSON, or null (a discarded value is never given) when it is none or when brackets
/// nest deeper than `deepest_json`, which no file of ours does and recursion could not bear.
inline constexpr int deepest_json = 64;
[[nodiscard]] std::optional<Json> parse_json(std::string_view text);

}  // namespace lowstride::take::detail
