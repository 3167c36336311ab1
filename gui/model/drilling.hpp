#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/model/drill_ear.hpp"
#include "gui/model/drill_sound.hpp"
#include "src/base/result.hpp"
#include "src/drill/answer.hpp"
#include "src/drill/history.hpp"
#include "src/drill/progress.hpp"
#include "src/drill/session.hpp"
#include "src/take/take.hpp"

namespace lowstride::desk {

/// By what lines and notes are answered beside typing and clicking.
enum class AnswerInput : std::uint8_t {
  none,
  device,  // a microphone or a line in
  file,    // a recording of what was played, one answer after another
};

struct DrillChoice {
  std::string player = "player";  // whose history
  double minutes = 15.0;
  std::vector<drill::Kind> kinds = {};  // empty: all
  std::optional<std::string> passage = {};
  AnswerInput input = AnswerInput::none;
  std::string device = {};             // its name; empty: the system's own
  std::filesystem::path answers = {};  // the file
};

/// Opens an input device of that name (empty: the system's own).
using OpenInput =
    std::function<Result<std::unique_ptr<audio::LiveInput>>(const std::string& device)>;

/// What hears the answers of a choice; null where they are typed and clicked only. May take a
/// while: not for a frame. Errors: those of the input, and invalid_argument where no file is named.
[[nodiscard]] Result<std::unique_ptr<DrillEar>> open_ear(const DrillChoice& choice,
                                                         const OpenInput& open_input);

/// A note of a tab that is filled in.
struct WrittenNote {
  int slot = 0;  // half beats from the item's first beat
  int string_number = 1;
  int fret = 0;

  bool operator==(const WrittenNote&) const = default;
};

/// A drill session on the desk: the same machine as in the terminal, with what was asked, typed and
/// answered. Knows no ImGui. One thread.
class Drilling {
 public:
  /// Makes the items, opens the player's history. May take a while: not for a frame. Errors: those
  /// of the history; not_found where nothing is confirmed that could be asked.
  [[nodiscard]] static Result<std::unique_ptr<Drilling>> open(const take::Take& take,
                                                              const std::filesystem::path& path,
                                                              const DrillChoice& choice,
                                                              const drill::Moment& now);

  /// `sound` may be null: it is said what would be heard. `ear` may be null: nothing is answered by
  /// playing. Both must outlive the session.
  void begin(DrillSound* sound, DrillEar* ear, const drill::Moment& now);
  /// Once a frame: notices when the sound has ended, since thinking begins then.
  void poll(const drill::Moment& now);

  [[nodiscard]] drill::Phase phase() const noexcept { return session_->phase(); }
  [[nodiscard]] const drill::Item& item() const { return session_->item(); }
  [[nodiscard]] double speed_ratio() const noexcept { return session_->speed_ratio(); }
  [[nodiscard]] const drill::SessionSummary& summary() const noexcept {
    return session_->summary();
  }
  /// What was said since the item was asked, line by line.
  [[nodiscard]] const std::vector<std::string>& says() const noexcept { return says_; }
  /// Of the last answer to this item.
  [[nodiscard]] const std::optional<drill::Verdict>& verdict() const noexcept { return verdict_; }
  [[nodiscard]] bool is_sounding() const noexcept { return is_sounding_; }
  /// A played answer is awaited.
  [[nodiscard]] bool is_listening() const noexcept {
    return ear_ != nullptr && ear_->is_listening();
  }
  /// Sentences about what is wrong: an answer that could not be kept, a history set aside.
  [[nodiscard]] std::vector<std::string> take_messages();

  /// As typed, in the terminal's words: "" hears again or goes on, "?" is a hint, "!" gives up.
  /// What is not understood is said and costs nothing.
  void type(const std::string& text, const drill::Moment& now);
  void answer(const drill::Answer& answer, const drill::Moment& now);
  void hint(const drill::Moment& now);
  void hear_again(const drill::Moment& now);
  void go_on(const drill::Moment& now);
  void stop(const drill::Moment& now);

  /// A place on the neck: the answer where one note is asked; where a tab is filled in, the note
  /// there at `cursor_slot`.
  void put(int string_number, int fret, const drill::Moment& now);
  /// Taps the change while the stretch sounds; done when the sound ends or `type("")` is pressed.
  void tap();
  [[nodiscard]] const std::vector<double>& taps() const noexcept { return taps_; }

  [[nodiscard]] bool is_tab_asked() const;
  [[nodiscard]] const std::vector<WrittenNote>& written() const noexcept { return written_; }
  [[nodiscard]] int slot_count() const;
  int cursor_slot = 0;
  void rub_out(int slot);
  /// Hands the tab in.
  void hand_in(const drill::Moment& now);

  /// How the player is doing. Errors: those of the history.
  [[nodiscard]] Result<drill::Progress> progress() const;
  [[nodiscard]] const std::string& player() const noexcept { return choice_.player; }

 private:
  Drilling(drill::History history, DrillChoice choice);
  void take_in(drill::Turn turn, const drill::Moment& now);
  void play(std::vector<drill::SoundOrder> orders);
  void say_what_to_hear();
  void await_played();
  void hush();
  void take_in_played(const drill::Moment& now);

  DrillChoice choice_;
  drill::History history_;
  std::unique_ptr<drill::Session> session_;
  DrillSound* sound_ = nullptr;
  DrillEar* ear_ = nullptr;
  std::vector<std::string> says_;
  std::vector<std::string> messages_;
  std::optional<drill::Verdict> verdict_;
  std::vector<WrittenNote> written_;
  std::vector<double> taps_;
  std::vector<std::string> ordered_;  // what sounds, in words
  bool is_sounding_ = false;
  bool awaits_line_ = false;  // an accompaniment was ordered that is to be played over
  bool has_new_item_ = false;
};

/// The moment that it is now, by both clocks.
[[nodiscard]] drill::Moment present_moment();

}  // namespace lowstride::desk
