#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "src/audio/low_voice_reader.hpp"
#include "src/audio/practice.hpp"
#include "src/base/result.hpp"
#include "src/sheet/pages.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

enum class SheetKind : std::uint8_t { pdf, text, svg, png, musicxml, midi, tables, practice };
inline constexpr std::array all_sheet_kinds{SheetKind::pdf,    SheetKind::text,     SheetKind::svg,
                                            SheetKind::png,    SheetKind::musicxml, SheetKind::midi,
                                            SheetKind::tables, SheetKind::practice};

/// Which bars are written.
struct PartChoice {
  enum class Kind : std::uint8_t { whole, marked, passage, bars };
  Kind kind = Kind::whole;
  std::string passage = {};  // its name
  int first_bar = 1;         // both included
  int last_bar = 8;

  bool operator==(const PartChoice&) const = default;
};

struct PracticeChoice {
  double speed_ratio = 0.5;                       // 0.2 .. 1.5
  std::optional<double> last_speed_ratio = 0.75;  // of a ramp by 5 % a step; nothing: no ramp
  int repeat_count = 2;                           // of each speed
  int count_in_bars = 1;
  audio::ClickPattern click = audio::ClickPattern::none;
  double shift_semitones = 0.0;
  audio::LowVoiceSettings low_voice = {};
  bool has_recording = true;  // where there is one
  bool has_line = false;      // as written, on plucked strings
  bool has_chords = false;

  bool operator==(const PracticeChoice&) const = default;
};

/// What is to be written. What a kind does not have is passed over.
struct ExportChoice {
  SheetKind kind = SheetKind::pdf;
  std::filesystem::path target;
  PartChoice part;
  std::optional<int> level;     // 1 .. 6: a graded version instead of the line
  bool has_all_levels = false;  // pages and text: all six, one after another, and no `level`
  bool has_roles = false;       // text
  int width_columns = 100;      // text
  bool is_written_out = false;
  sheet::PaperSize paper = sheet::PaperSize::a4;
  bool is_tab_only = false;
  bool is_steady = false;  // MIDI: one tempo
  bool is_quantised = false;
  PracticeChoice practice;

  bool operator==(const ExportChoice&) const = default;
};

/// Several levels can stand one after another in a sheet of that kind.
[[nodiscard]] bool holds_all_levels(SheetKind kind) noexcept;

/// Where a sheet of a take goes if nothing else is said: beside the take, by its name; levels say
/// which they are, practice audio that it is. Of the choice, kind and levels count.
[[nodiscard]] std::filesystem::path usual_target(const std::filesystem::path& take_path,
                                                 const ExportChoice& choice);

/// Writes it, and gives what was written. `marked` is the stretch that is marked on the desk,
/// `recording` empty where there is none. Errors: those of the sheet, naming the file.
[[nodiscard]] Result<std::vector<std::filesystem::path>> write_sheet(
    const take::Take& take, const ExportChoice& choice, const std::optional<take::Stretch>& marked,
    const std::filesystem::path& recording, const WorkControl& control);

/// A picture of 8-bit red, green, blue and opacity.
struct Pixels {
  int width = 0;
  int height = 0;
  std::vector<std::uint8_t> rgba;
};

/// The picture in the bytes of a PNG file. Errors: unsupported.
[[nodiscard]] Result<Pixels> pixels_of(const std::string& png);

/// What will be written, to be looked at beforehand: a page as the printer will have it, or text;
/// of practice audio, what comes when.
struct ExportPreview {
  std::string text;
  std::optional<Pixels> page;
  std::size_t page_index = 0;
  std::size_t page_count = 0;
};

/// Makes it; what stands in the way is told in its text. `page` is brought into range. Takes some
/// tenths of a second: not for a frame.
[[nodiscard]] ExportPreview preview_of(const take::Take& take, const ExportChoice& choice,
                                       const std::optional<take::Stretch>& marked, std::size_t page,
                                       double dots_per_inch);

}  // namespace lowstride::desk
