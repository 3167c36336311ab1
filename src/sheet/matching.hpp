#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace lowstride::sheet {

/// A largest set of pairs between two lists, each entry used once at most: for every entry of the
/// first list its partner in the second, or nothing. `candidates[i]`: the partners that entry i may
/// have, dearest first, each below `partner_count`. Where several sets are largest, entries earlier
/// in the list and partners earlier among the candidates are taken first.
/// Source: augmenting paths, Berge 1957; the largest matching is what mir_eval counts with.
[[nodiscard]] std::vector<std::optional<std::size_t>> largest_matching(
    std::span<const std::vector<std::size_t>> candidates, std::size_t partner_count);

}  // namespace lowstride::sheet
