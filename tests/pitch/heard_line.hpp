#pragma once

#include <variant>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/learned/listener.hpp"
#include "dsp/pitch/note_decoder.hpp"

namespace lowstride::dsp {

/// What the embedded ears say about a sound.
inline Evidence listen(const std::vector<float>& sound) {
  const auto weights = embedded_weights();
  if (!std::holds_alternative<Weights>(weights)) {
    ADD_FAILURE() << std::get<WeightsError>(weights).message;
    return {};
  }
  Survey survey;
  survey.process(sound);
  Listener listener(std::get<Weights>(weights), survey.finish());
  listener.process(sound);
  return listener.finish();
}

inline std::vector<DecodedNote> hear(const std::vector<float>& sound) {
  return decode_notes(listen(sound), {});
}

}  // namespace lowstride::dsp
