#include "src/audio/player_output.hpp"

#include <filesystem>
#include <utility>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"

namespace lowstride::audio {

PlayerOutput::PlayerOutput(Player& player, Opener opener)
    : player_(player), opener_(std::move(opener)) {}

Result<void> PlayerOutput::open() {
  if (out_) return {};
  auto opened = opener_(player_);
  if (!opened) return tl::unexpected(opened.error());
  out_ = std::move(*opened);
  return {};
}

std::optional<Error> PlayerOutput::check() {
  if (!out_ || !out_->is_lost()) return std::nullopt;
  player_.stop();
  Error lost{
      ErrorCode::no_device,
      fmt::format("The sound device {} is gone; connect it or another one, then play on from "
                  "here.",
                  quoted(std::filesystem::path(out_->name())))};
  out_.reset();
  return lost;
}

std::string PlayerOutput::name() const { return out_ ? out_->name() : std::string(); }

}  // namespace lowstride::audio
