#include "src/analysis/evidence_cache.hpp"

#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <random>

#include <gtest/gtest.h>

namespace lowstride::analysis {
namespace {

dsp::Evidence random_evidence(std::size_t frames) {
  std::mt19937 random(11);  // NOLINT: the same every time
  std::uniform_real_distribution<float> uniform(0.0F, 1.0F);
  const auto fill = [&](dsp::Table& table) {
    for (std::size_t i = 0; i < table.row_count(); ++i) {
      for (float& value : table.row(i)) value = uniform(random);
    }
  };
  const auto fill_list = [&](std::vector<float>& list) {
    list.resize(frames);
    for (float& value : list) value = uniform(random);
  };
  dsp::Evidence evidence;
  evidence.a4_hz = 438.25;
  evidence.guitar_share = 0.125;
  evidence.pitch = dsp::Table(frames, dsp::evidence_pitch_count + 1);
  evidence.onset = dsp::Table(frames, dsp::evidence_pitch_count);
  const std::size_t chords = (frames + dsp::chord_hop_frames - 1) / dsp::chord_hop_frames;
  evidence.chord = dsp::Table(chords, dsp::chord_column_count);
  evidence.chord_bass = dsp::Table(chords, dsp::pitch_class_count);
  fill(evidence.pitch);
  fill(evidence.onset);
  fill(evidence.chord);
  fill(evidence.chord_bass);
  fill_list(evidence.beat);
  fill_list(evidence.downbeat);
  fill_list(evidence.dead);
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

TEST_F(Cache, gives_back_exactly_what_was_rounded) {
  dsp::Evidence evidence = random_evidence(37);
  const dsp::Evidence before = evidence;
  round_evidence(evidence);
  for (std::size_t i = 0; i < evidence.pitch.values().size(); ++i) {
    EXPECT_NEAR(evidence.pitch.values()[i], before.pitch.values()[i], 0.5 / 65535 + 1e-7);
  }
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
  dsp::Evidence evidence = random_evidence(9);
  round_evidence(evidence);
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
