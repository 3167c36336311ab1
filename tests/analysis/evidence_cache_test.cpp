#include "src/analysis/evidence_cache.hpp"

#include <unistd.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace lowstride::analysis {
namespace {

dsp::Evidence random_evidence(std::size_t frames) {
  std::mt19937 random(11);  // NOLINT: the same every time
  std::uniform_real_distribution<float> uniform(0.0F, 1.0F);
  // Most values next to nothing, as nets give them.
  const auto value = [&] { return std::pow(uniform(random), 8.0F); };
  const auto table = [&](std::size_t rows, std::size_t columns) {
    dsp::ProbabilityTable result(columns);
    std::vector<float> row(columns);
    for (std::size_t i = 0; i < rows; ++i) {
      for (float& one : row) one = value();
      result.append(row);
    }
    return result;
  };
  const auto list = [&] {
    std::vector<float> result(frames);
    for (float& one : result) one = dsp::ProbabilityTable::rounded(value());
    return result;
  };
  dsp::Evidence evidence;
  evidence.a4_hz = 438.25;
  evidence.guitar_share = 0.125;
  evidence.pitch = table(frames, dsp::evidence_pitch_count + 1);
  evidence.onset = table(frames, dsp::evidence_pitch_count);
  const std::size_t chords = (frames + dsp::chord_hop_frames - 1) / dsp::chord_hop_frames;
  evidence.chord = table(chords, dsp::chord_column_count);
  evidence.chord_bass = table(chords, dsp::pitch_class_count);
  evidence.beat = list();
  evidence.downbeat = list();
  evidence.dead = list();
  return evidence;
}

class Cache : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (std::filesystem::temp_directory_path() / "lowstride-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder_ = pattern;
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path folder_;
  EvidenceKey key_{std::string(64, 'a'), 0, 1000};
};

TEST_F(Cache, gives_back_exactly_what_was_kept) {
  const dsp::Evidence evidence = random_evidence(1037);  // some 300 kB: several chunks
  const EvidenceCache cache(folder_);
  EXPECT_FALSE(cache.find(key_));
  cache.keep(key_, evidence);
  const auto found = cache.find(key_);
  ASSERT_TRUE(found);
  EXPECT_EQ(*found, evidence);
  EXPECT_FALSE(cache.find({std::string(64, 'b'), 0, 1000}));
  EXPECT_FALSE(cache.find({std::string(64, 'a'), 5, 1000}));
}

TEST_F(Cache, a_damaged_entry_is_no_entry) {
  const dsp::Evidence evidence = random_evidence(9);
  const std::string bytes = pack_evidence(evidence);
  ASSERT_TRUE(unpack_evidence(bytes));
  for (std::size_t place = 0; place < bytes.size(); place += 7) {
    std::string damaged = bytes;
    damaged[place] = static_cast<char>(damaged[place] ^ 0x20);
    EXPECT_FALSE(unpack_evidence(damaged)) << "byte " << place;
    EXPECT_FALSE(unpack_evidence(std::string_view(bytes).substr(0, place))) << "cut at " << place;
  }
}

TEST_F(Cache, a_name_that_is_no_hash_never_becomes_a_path) {
  const EvidenceCache cache(folder_ / "inside");
  cache.keep({"../../../../escaped-from-the-folder", 0, 1}, random_evidence(3));
  EXPECT_FALSE(std::filesystem::exists(folder_ / "inside"));
  EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

TEST_F(Cache, a_folder_that_cannot_be_made_is_no_failure) {
  std::ofstream(folder_ / "file") << "in the way";
  const EvidenceCache cache(folder_ / "file" / "cache");
  cache.keep(key_, random_evidence(3));
  EXPECT_FALSE(cache.find(key_));
}

}  // namespace
}  // namespace lowstride::analysis
