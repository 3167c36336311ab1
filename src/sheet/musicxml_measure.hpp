#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include <pugixml.hpp>

#include "src/sheet/layout.hpp"
#include "src/sheet/rhythm_values.hpp"
#include "src/sheet/written_pitch.hpp"
#include "src/theory/pitch.hpp"

// The notes of a measure of MusicXML, for musicxml.cpp.
namespace lowstride::sheet {

/// Adds a child without text, with text, or with a number.
pugi::xml_node add(pugi::xml_node parent, const char* name);
pugi::xml_node add(pugi::xml_node parent, const char* name, const std::string& text);
pugi::xml_node add(pugi::xml_node parent, const char* name, int number);
/// Adds a step and, unless it is natural, its alteration under the names given.
void add_step(pugi::xml_node node, const char* step, const char* alter, theory::PitchName name);

/// The two staves of the part: what sounds, and where it is played.
enum class StaffPart : std::uint8_t { notes = 1, tab = 2 };

/// Writes the voices of one bar: 1 the line, 3 the stabs on the staff; 2 and 4 the same on the tab.
/// All must outlive the writer.
class MeasureWriter {
 public:
  MeasureWriter(pugi::xml_node measure, const SheetBar& bar, const BarPitches& pitches);

  /// `before`: called before each note or rest, for what stands between them; may be empty.
  void write_line(StaffPart staff, const std::function<void(const WrittenValue&)>& before) const;
  /// A chord has one note element a string. Nothing for a bar without stabs.
  void write_stabs(StaffPart staff) const;

 private:
  struct Sound;
  void write_note(const WrittenValue& value, const Sound* sound, StaffPart staff, int voice) const;
  static void write_notations(pugi::xml_node node, const WrittenValue& value, const Sound* sound,
                              StaffPart staff);

  pugi::xml_node measure_;
  const SheetBar& bar_;
  const BarPitches& pitches_;
};

}  // namespace lowstride::sheet
