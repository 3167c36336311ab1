#pragma once

#include <optional>
#include <string>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/base/result.hpp"
#include "src/neck/neck.hpp"
#include "src/take/take.hpp"

namespace pugi {
class xml_node;
}

namespace lowstride::notation {

// What one part of a MusicXML file says, measure by measure, before anything is played out. Places
// and lengths are in quarters from the start of the measure.

struct XmlNote {
  double onset = 0.0;
  double length = 0.0;
  int midi = 0;  // sounding: transposed
  bool is_dead = false;
  bool is_tie_start = false;
  bool is_tie_stop = false;
  bool is_on_tab = false;
  int voice = 1;
  std::optional<neck::Position> position = {};
};

struct XmlHarmony {
  double place = 0.0;
  dsp::ChordReading chord = {};
  std::string written = {};  // where the label says more
};

struct XmlTempo {
  double place = 0.0;
  double bpm = 120.0;  // quarters a minute
};

struct XmlMeasure {
  int beats = 4;
  int beat_type = 4;
  bool is_implicit = false;
  double length = 0.0;  // of what is in it
  std::vector<XmlNote> notes;
  std::vector<XmlHarmony> harmonies;
  std::vector<XmlTempo> tempos;
  std::vector<std::string> rehearsals;
  bool begins_repeat = false;
  int repeat_times = 0;      // how often the stretch up to here is played; 0 = no repeat
  std::vector<int> endings;  // passes in which the measure is played; empty = all
  bool ends_ending = false;
};

struct XmlPart {
  std::vector<XmlMeasure> measures;
  std::optional<take::Key> key;
  std::optional<double> swing_ratio;
  std::optional<neck::Neck> neck;  // from the tab's tuning and capo
  std::size_t grace_count = 0;
  std::size_t unknown_chord_count = 0;
  bool has_jumps = false;  // D.C., D.S., coda
};

/// Reads a `part` of a partwise score. Nothing is refused: what makes no sense is left out.
[[nodiscard]] XmlPart read_part(const pugi::xml_node& part);

/// The order in which measures are played: repeats and endings carried out. At most
/// `most_measures`.
[[nodiscard]] std::vector<std::size_t> played_order(const std::vector<XmlMeasure>& measures,
                                                    std::size_t most_measures);

}  // namespace lowstride::notation
