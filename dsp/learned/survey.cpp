#include <algorithm>
#include <cmath>

#include "dsp/learned/listener.hpp"

namespace lowstride::dsp {
namespace {

constexpr double silent_rms = 1e-5;

}  // namespace

struct Survey::State {
  std::size_t sample_count = 0;
  std::size_t bad_sample_count = 0;
  double squares = 0.0;
  TuningEstimator tuning;
  HumDetector hum;
  std::vector<float> clean;
};

Survey::Survey() : state_(std::make_unique<State>()) {}
Survey::Survey(Survey&&) noexcept = default;
Survey& Survey::operator=(Survey&&) noexcept = default;
Survey::~Survey() = default;

void Survey::process(std::span<const float> samples) {
  state_->clean.clear();
  for (const float sample : samples) {
    const bool is_good = std::isfinite(sample);
    if (!is_good) ++state_->bad_sample_count;
    state_->clean.push_back(is_good ? sample : 0.0F);
    const auto value = static_cast<double>(state_->clean.back());
    state_->squares += value * value;
  }
  state_->sample_count += samples.size();
  state_->tuning.process(state_->clean);
  state_->hum.process(state_->clean);
}

SurveyResult Survey::finish() const {
  SurveyResult result;
  result.sample_count = state_->sample_count;
  result.bad_sample_count = state_->bad_sample_count;
  if (state_->sample_count > 0) {
    result.rms = std::sqrt(state_->squares / static_cast<double>(state_->sample_count));
  }
  result.is_silent = result.rms < silent_rms;
  if (result.is_silent) return result;
  result.hum = state_->hum.finish();
  const double base_hz = result.hum ? result.hum->fundamental_hz : 0.0;
  result.tuning = state_->tuning.finish(
      {.ignore_50_hz_lines = base_hz > 0.0 && base_hz<55.0, .ignore_60_hz_lines = base_hz> 55.0});
  return result;
}

}  // namespace lowstride::dsp
