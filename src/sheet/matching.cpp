#include "src/sheet/matching.hpp"

#include "dsp/base/contracts.hpp"

namespace lowstride::sheet {
namespace {

constexpr std::size_t none = static_cast<std::size_t>(-1);

}  // namespace

std::vector<std::optional<std::size_t>> largest_matching(
    std::span<const std::vector<std::size_t>> candidates, std::size_t partner_count) {
  std::vector<std::optional<std::size_t>> partner_of(candidates.size());
  std::vector<std::size_t> owner_of(partner_count, none);
  std::vector<std::size_t> reached_from(partner_count, none);  // entry that reached a partner
  std::vector<std::size_t> reached_in(partner_count, none);    // round in which it was reached
  for (std::size_t start = 0; start < candidates.size(); ++start) {
    // Breadth first from a free entry along alternating paths to a free partner.
    std::vector<std::size_t> queue{start};
    std::size_t free_partner = none;
    for (std::size_t next = 0; next < queue.size() && free_partner == none; ++next) {
      for (const std::size_t partner : candidates[queue[next]]) {
        LOWSTRIDE_EXPECTS(partner < partner_count);
        if (reached_in[partner] == start) continue;
        reached_in[partner] = start;
        reached_from[partner] = queue[next];
        if (owner_of[partner] == none) {
          free_partner = partner;
          break;
        }
        queue.push_back(owner_of[partner]);
      }
    }
    // Every pair on the path changes hands.
    while (free_partner != none) {
      const std::size_t entry = reached_from[free_partner];
      const std::size_t given_up = partner_of[entry].value_or(none);
      partner_of[entry] = free_partner;
      owner_of[free_partner] = entry;
      free_partner = given_up;
    }
  }
  return partner_of;
}

}  // namespace lowstride::sheet
