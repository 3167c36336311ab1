#pragma once

#include <concepts>
#include <cstdint>
#include <limits>
#include <string>
#include <type_traits>

#include <nlohmann/json.hpp>

#include "src/take/take.hpp"
#include "src/theory/chord_label.hpp"

// Single values as JSON: `to_json`, and `from_json`, which is false when the JSON is something
// else. Inside of src/take alone.
namespace lowstride::take::detail {

using Json = nlohmann::ordered_json;  // keeps the order in which fields are listed

inline Json to_json(bool value) { return value; }
inline Json to_json(int value) { return value; }
inline Json to_json(std::int64_t value) { return value; }
inline Json to_json(std::uint64_t value) { return value; }
inline Json to_json(double value) { return value; }
inline Json to_json(const std::string& value) { return value; }
template <typename Id>
requires(sizeof(Id) == 8 && std::is_enum_v<Id>) Json to_json(Id id) {
  return static_cast<std::uint64_t>(id);
}

inline bool from_json(const Json& json, bool& value) {
  if (!json.is_boolean()) return false;
  value = json.get<bool>();
  return true;
}
inline bool from_json(const Json& json, std::int64_t& value) {
  // A whole number beyond 63 bits is kept by the parser as unsigned.
  if (!json.is_number_integer()) return false;
  if (json.is_number_unsigned() && json.get<std::uint64_t>() >> 63U != 0) return false;
  value = json.get<std::int64_t>();
  return true;
}
inline bool from_json(const Json& json, std::uint64_t& value) {
  if (!json.is_number_unsigned()) return false;
  value = json.get<std::uint64_t>();
  return true;
}
inline bool from_json(const Json& json, int& value) {
  std::int64_t wide = 0;
  if (!from_json(json, wide) || wide < std::numeric_limits<int>::min() ||
      wide > std::numeric_limits<int>::max()) {
    return false;
  }
  value = static_cast<int>(wide);
  return true;
}
inline bool from_json(const Json& json, double& value) {
  if (!json.is_number()) return false;
  value = json.get<double>();
  return true;
}
inline bool from_json(const Json& json, std::string& value) {
  if (!json.is_string()) return false;
  value = json.get_ref<const std::string&>();
  return true;
}
template <typename Id>
requires(sizeof(Id) == 8 && std::is_enum_v<Id>) bool from_json(const Json& json, Id& id) {
  std::uint64_t number = 0;
  if (!from_json(json, number)) return false;
  id = Id{number};
  return true;
}

inline Json to_json(State state) { return state == State::confirmed ? "confirmed" : "proposed"; }
inline bool from_json(const Json& json, State& state) {
  if (json == "confirmed") {
    state = State::confirmed;
  } else if (json == "proposed") {
    state = State::proposed;
  } else {
    return false;
  }
  return true;
}

inline Json to_json(Voice voice) { return voice == Voice::guitar ? "guitar" : "bass"; }
inline bool from_json(const Json& json, Voice& voice) {
  if (json == "guitar") {
    voice = Voice::guitar;
  } else if (json == "bass") {
    voice = Voice::bass;
  } else {
    return false;
  }
  return true;
}

inline Json to_json(neck::Articulation articulation) {
  switch (articulation) {
    case neck::Articulation::hammered:
      return "hammered";
    case neck::Articulation::slid:
      return "slid";
    case neck::Articulation::plucked:
      break;
  }
  return "plucked";
}
inline bool from_json(const Json& json, neck::Articulation& articulation) {
  if (json == "plucked") {
    articulation = neck::Articulation::plucked;
  } else if (json == "hammered") {
    articulation = neck::Articulation::hammered;
  } else if (json == "slid") {
    articulation = neck::Articulation::slid;
  } else {
    return false;
  }
  return true;
}

/// "Bb:7/3", "N": the published chord syntax (Harte et al., ISMIR 2005).
inline Json to_json(const dsp::ChordReading& chord) { return theory::harte_label(chord); }
inline bool from_json(const Json& json, dsp::ChordReading& chord) {
  if (!json.is_string()) return false;
  const auto parsed = theory::parse_chord(json.get_ref<const std::string&>());
  if (!parsed || !parsed->is_exact) return false;
  chord = parsed->chord;
  return true;
}

/// [pitch, probability]
inline Json to_json(const dsp::PitchCandidate& candidate) {
  return Json::array({candidate.midi, candidate.probability});
}
inline bool from_json(const Json& json, dsp::PitchCandidate& candidate) {
  return json.is_array() && json.size() == 2 && from_json(json[0], candidate.midi) &&
         from_json(json[1], candidate.probability);
}

/// [label, probability]
inline Json to_json(const dsp::ChordCandidate& candidate) {
  return Json::array({to_json(candidate.chord), candidate.probability});
}
inline bool from_json(const Json& json, dsp::ChordCandidate& candidate) {
  return json.is_array() && json.size() == 2 && from_json(json[0], candidate.chord) &&
         from_json(json[1], candidate.probability);
}

}  // namespace lowstride::take::detail
