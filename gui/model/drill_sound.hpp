#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "src/drill/sound.hpp"

namespace lowstride::desk {

/// The loudspeaker of a drill. All calls return at once.
class DrillSound {
 public:
  DrillSound() = default;
  DrillSound(const DrillSound&) = delete;
  DrillSound& operator=(const DrillSound&) = delete;
  virtual ~DrillSound() = default;

  /// Plays orders one after another, in place of what still sounds.
  virtual void play(std::vector<drill::SoundOrder> orders) = 0;
  virtual void stop() = 0;
  /// What sounds: the order, and the part of it that was heard. Call once a frame.
  struct Heard {
    const drill::SoundOrder* order = nullptr;  // null: silence
    double seconds = 0.0;                      // of the order, at the speed it is heard
  };
  [[nodiscard]] virtual Heard now() = 0;
  /// Why nothing is heard, for people; else empty. Once there is a reason nothing will be.
  [[nodiscard]] virtual std::string notice() const = 0;
};

/// On the device of that name (empty: the system's). Files are opened in the background. Without a
/// device nothing is played and `notice` says so.
[[nodiscard]] std::unique_ptr<DrillSound> make_drill_sound(const std::filesystem::path& recording,
                                                           const std::string& device);

}  // namespace lowstride::desk
