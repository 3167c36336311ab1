#include "dsp/learned/grouping.hpp"

#include <array>
#include <vector>

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

struct Slow {
  std::vector<float> means, maxima;
};

/// Frames 0, 1, 2 … with their own number as value.
Slow gather(std::size_t frames, std::size_t size, std::size_t lead) {
  Grouping grouping(1, 1, size, lead);
  FrameQueue out(2);
  for (std::size_t t = 0; t < frames; ++t) {
    const std::array<float, 1> value{static_cast<float>(t)};
    grouping.add(value, value, out);
  }
  grouping.finish(out);
  const std::size_t count = out.frame_count();
  if (count == 0) return {};
  return {{out.lane(0), out.lane(0) + count}, {out.lane(1), out.lane(1) + count}};
}

TEST(Grouping, centres_eight_frames_on_each_chord_frame) {
  // 20 frames: 0..3 (mean 1.5), 4..11 (7.5), 12..19 (15.5).
  const Slow slow = gather(20, 8, 4);
  EXPECT_EQ(slow.means, (std::vector<float>{1.5F, 7.5F, 15.5F}));
  EXPECT_EQ(slow.maxima, (std::vector<float>{3.0F, 11.0F, 19.0F}));
}

TEST(Grouping, gives_as_many_as_the_frames_fill_rounded_up) {
  EXPECT_TRUE(gather(0, 8, 4).means.empty());
  // Four frames fill slow frame 0; the fifth belongs to slow frame 1, which does not exist.
  EXPECT_EQ(gather(5, 8, 4).means, (std::vector<float>{1.5F}));
  EXPECT_EQ(gather(9, 8, 4).means, (std::vector<float>{1.5F, 6.0F}));
  EXPECT_EQ(gather(5, 2, 0).means, (std::vector<float>{0.5F, 2.5F, 4.0F}));
}

}  // namespace
}  // namespace lowstride::dsp
