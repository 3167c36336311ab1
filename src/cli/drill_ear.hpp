#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "src/audio/live_input.hpp"
#include "src/base/result.hpp"
#include "src/cli/console.hpp"
#include "src/drill/session.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::cli {

/// Takes answers that are played: notes that are asked, and lines that are played back.
class DrillEar {
 public:
  /// `latency_seconds`: from a sound's going out to its coming in, see --measure-latency; taken off
  /// the times of a played line. A file has none but its own.
  /// `is_device`: it runs on while nobody plays, and is waited for.
  DrillEar(std::unique_ptr<audio::LiveInput> input, double latency_seconds, bool is_device);

  /// From now on what is played counts: called as the accompaniment begins.
  void begin();
  /// Takes in what came since; to be called every few milliseconds while something sounds, of which
  /// `sound_seconds` have been heard. So the start of the accompaniment is known in the input.
  void tick(double sound_seconds);

  /// The answer to the item that is asked; nothing when it is to be typed (another kind of item, a
  /// line was typed meanwhile, a file's end). Errors: those of the input.
  [[nodiscard]] std::optional<Result<drill::Answer>> answer(const drill::Session& session);

 private:
  [[nodiscard]] Result<bool> take_in(std::size_t most_samples);
  [[nodiscard]] std::optional<Result<drill::Answer>> one_note(const drill::Item& item);
  [[nodiscard]] std::optional<Result<drill::Answer>> line(const drill::Session& session);

  std::unique_ptr<audio::LiveInput> input_;
  double latency_seconds_;
  bool is_device_;
  std::vector<float> heard_;          // since `begin`
  double sound_begin_seconds_ = 0.0;  // of the accompaniment, in what was heard since `begin`
  std::optional<Error> error_;
};

/// The latency that was measured and kept for this machine, 0 when there is none.
[[nodiscard]] double kept_latency_seconds();

/// `lowstride drill --tuner`: the nearest open string of a bass or guitar and how far off it is,
/// and a meter, until Ctrl-C or the input's end.
[[nodiscard]] ExitCode run_tuner(audio::LiveInput& input, const neck::Neck& neck);

/// `lowstride drill --measure-latency`: plays sweeps and hears them come back.
[[nodiscard]] ExitCode run_latency(const std::string& device);

}  // namespace lowstride::cli
