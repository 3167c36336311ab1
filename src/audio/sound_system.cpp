#include "src/audio/sound_system.hpp"

#include <SDL.h>

namespace lowstride::audio {

std::unique_lock<std::recursive_mutex> SoundSystem::alone() {
  static std::recursive_mutex mutex;
  return std::unique_lock(mutex);
}

SoundSystem::SoundSystem() {
  const auto lock = alone();
  // Else SDL takes Ctrl-C for itself and the program does not stop.
  SDL_SetHint(SDL_HINT_NO_SIGNAL_HANDLERS, "1");
  is_there_ = SDL_InitSubSystem(SDL_INIT_AUDIO) == 0;
}

SoundSystem::~SoundSystem() {
  const auto lock = alone();
  if (is_there_) SDL_QuitSubSystem(SDL_INIT_AUDIO);
}

std::vector<std::string> SoundSystem::devices(bool listening) const {
  std::vector<std::string> names;
  if (!is_there_) return names;
  const auto lock = alone();
  const int is_input = listening ? 1 : 0;
  const int count = SDL_GetNumAudioDevices(is_input);
  for (int i = 0; i < count; ++i) {
    if (const char* name = SDL_GetAudioDeviceName(i, is_input); name != nullptr) {
      names.emplace_back(name);
    }
  }
  return names;
}

}  // namespace lowstride::audio
