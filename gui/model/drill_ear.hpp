#pragma once

#include <atomic>
#include <future>
#include <memory>
#include <optional>
#include <string>

#include "src/base/result.hpp"
#include "src/drill/ear.hpp"

namespace lowstride::desk {

/// Hears played answers in a thread of its own, for a window that must not wait. All calls return
/// at once and come from one thread.
class DrillEar {
 public:
  explicit DrillEar(std::unique_ptr<drill::Ear> ear) : ear_(std::move(ear)) {}
  DrillEar(const DrillEar&) = delete;
  DrillEar& operator=(const DrillEar&) = delete;
  ~DrillEar();

  /// Awaits the answer to an item. Where something sounds meanwhile that is played over, say how
  /// much of it was heard (`sounding`, once a frame) and when it has ended.
  void listen(const drill::Item& item, double speed_ratio, bool is_accompanied);
  void sounding(double seconds);
  void sound_ended();
  /// No answer is awaited any more.
  void stop();

  [[nodiscard]] bool is_listening() const noexcept { return control_ != nullptr; }
  /// Its thread has nothing to do: it can be done away with at once.
  [[nodiscard]] bool is_idle() const;
  [[nodiscard]] double level_db() const noexcept { return ear_->level_db(); }

  /// The answer, once: nothing as long as it is awaited. Call once a frame. An empty `played` means
  /// that the input has ended, and the answer is to be given otherwise.
  struct Heard {
    std::optional<Result<drill::PlayedAnswer>> played;
  };
  [[nodiscard]] std::optional<Heard> heard();

 private:
  using Outcome = std::optional<Result<drill::PlayedAnswer>>;
  /// What the frames tell the thread.
  struct Control {
    drill::Item item;
    double speed_ratio = 1.0;
    std::atomic<bool> is_cancelled{false};
    std::atomic<bool> is_sounding{false};
    std::atomic<double> began_seconds{0.0};  // when the sound began, by the steady clock
  };
  static Outcome run(drill::Ear& ear, Control& control);
  void start();

  std::unique_ptr<drill::Ear> ear_;   // the thread's while it runs
  std::shared_ptr<Control> control_;  // of the answer that is awaited; null: none
  std::future<Outcome> running_;      // for `control_`, or for one that was stopped
  std::shared_ptr<Control> running_for_;
};

}  // namespace lowstride::desk
