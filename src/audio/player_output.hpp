#pragma once

#include <functional>
#include <memory>
#include <optional>

#include "src/audio/audio_out.hpp"
#include "src/audio/player.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// The output that a player is heard through, over the loss of devices. When a device goes away
/// (unplugged, its server ended) the player stops and keeps its place, loop and settings; it is
/// heard again when the user says so:
///
///   PlayerOutput output(player, [](AudioSource& source) { return open_device(source); });
///   if (auto opened = output.open(); !opened) …          // no device: the sentence says so
///   … each frame: if (auto lost = output.check()) show(lost->message);
///   … key of play: if (auto there = output.open(); there) player.play();
///
/// For the thread that owns the player, which must outlive it.
class PlayerOutput {
 public:
  using Opener = std::function<Result<std::unique_ptr<AudioOut>>(AudioSource&)>;

  PlayerOutput(Player& player, Opener opener);

  /// Opens an output where none is open. Errors: those of the opener; the player stays as it is.
  [[nodiscard]] Result<void> open();

  /// Looks after the output. Once when it has been lost: stops the player, closes what is left of
  /// the output, and says so (no_device, naming it and the cure).
  [[nodiscard]] std::optional<Error> check();

  /// Ends the output; the player keeps its place.
  void close() noexcept { out_.reset(); }

  [[nodiscard]] bool is_open() const noexcept { return out_ != nullptr; }
  /// The open output's name; empty while none is open.
  [[nodiscard]] std::string name() const;

 private:
  Player& player_;
  Opener opener_;
  std::unique_ptr<AudioOut> out_;
};

}  // namespace lowstride::audio
