#pragma once

#include <mutex>
#include <string>
#include <vector>

namespace lowstride::audio {

/// The machine's sound system (SDL's audio part) while somebody needs it, counted by its users.
/// What brings it up, shuts it down, lists its devices, opens or closes one is not made for several
/// threads at once, so each of these holds `alone()`; what reads or plays an open device does not.
class SoundSystem {
 public:
  SoundSystem();
  SoundSystem(const SoundSystem&) = delete;
  SoundSystem& operator=(const SoundSystem&) = delete;
  ~SoundSystem();

  /// Nobody else changes the sound system while this is held. May be held twice by one thread.
  [[nodiscard]] static std::unique_lock<std::recursive_mutex> alone();
  [[nodiscard]] bool is_there() const noexcept { return is_there_; }
  /// Names of the devices that play, or of those that listen; empty without a sound system.
  [[nodiscard]] std::vector<std::string> devices(bool listening) const;

 private:
  bool is_there_ = false;
};

}  // namespace lowstride::audio
