#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "dsp/base/evidence.hpp"

namespace lowstride::analysis {

/// What evidence was made from; another key is another cache entry.
struct EvidenceKey {
  std::string content_hash;       // of the recording's bytes
  std::int64_t begin_sample = 0;  // range of the recording
  std::int64_t sample_count = 0;  // at the analysis rate
};

/// Evidence kept from one run to the next in $XDG_CACHE_HOME/lowstride (else ~/.cache/lowstride),
/// 10 kB a second of sound. The folder may be deleted at any time; a file that is
/// missing, damaged or of another analysis version is no entry. Oldest entries go when all together
/// exceed 1 GiB.
class EvidenceCache {
 public:
  /// In the user's cache folder; without one (no home) nothing is kept.
  EvidenceCache();
  explicit EvidenceCache(std::filesystem::path folder);

  [[nodiscard]] std::optional<dsp::Evidence> find(const EvidenceKey& key) const;

  /// Keeps evidence of a listener. A full disk or a read-only folder is no failure: nothing is kept
  /// then.
  void keep(const EvidenceKey& key, const dsp::Evidence& evidence) const;

 private:
  [[nodiscard]] std::filesystem::path path_of(const EvidenceKey& key) const;

  std::filesystem::path folder_;
};

/// The bytes of an entry and back. Damage of any kind gives nothing. For the cache and its tests.
[[nodiscard]] std::string pack_evidence(const dsp::Evidence& evidence);
[[nodiscard]] std::optional<dsp::Evidence> unpack_evidence(std::string_view bytes);

}  // namespace lowstride::analysis
