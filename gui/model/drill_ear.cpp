#include "gui/model/drill_ear.hpp"

#include <chrono>
#include <utility>

namespace lowstride::desk {
namespace {

double steady_seconds() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

}  // namespace

DrillEar::~DrillEar() { stop(); }

DrillEar::Outcome DrillEar::run(drill::Ear& ear, Control& control) {
  const auto goes_on = [&control] { return !control.is_cancelled.load(); };
  ear.begin();
  // A file is there at once and is not played along with anything.
  while (ear.is_device() && control.is_sounding.load() && goes_on()) {
    ear.tick(steady_seconds() - control.began_seconds.load());
  }
  if (!goes_on()) return std::nullopt;
  return ear.answer(control.item, control.speed_ratio, goes_on);
}

void DrillEar::start() {
  running_for_ = control_;
  running_ = std::async(std::launch::async,
                        [ear = ear_.get(), control = control_] { return run(*ear, *control); });
}

void DrillEar::listen(const drill::Item& item, double speed_ratio, bool is_accompanied) {
  stop();
  control_ = std::make_shared<Control>();
  control_->item = item;
  control_->speed_ratio = speed_ratio;
  control_->is_sounding.store(is_accompanied);
  control_->began_seconds.store(steady_seconds());
  // One that was stopped just now may still wait for its last samples.
  if (!running_.valid()) start();
}

void DrillEar::sounding(double seconds) {
  if (control_) control_->began_seconds.store(steady_seconds() - seconds);
}

void DrillEar::sound_ended() {
  if (control_) control_->is_sounding.store(false);
}

void DrillEar::stop() {
  if (!control_) return;
  control_->is_cancelled.store(true);
  control_.reset();
}

bool DrillEar::is_idle() const {
  return !running_.valid() ||
         running_.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
}

std::optional<DrillEar::Heard> DrillEar::heard() {
  if (!running_.valid() || !is_idle()) return std::nullopt;
  Outcome outcome = running_.get();
  const bool is_awaited = control_ != nullptr && running_for_ == control_;
  running_for_.reset();
  if (!is_awaited) {
    if (control_) start();
    return std::nullopt;
  }
  control_.reset();
  return Heard{std::move(outcome)};
}

}  // namespace lowstride::desk
