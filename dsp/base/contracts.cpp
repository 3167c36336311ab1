#include "dsp/base/contracts.hpp"

#include <cstdio>
#include <cstdlib>

namespace lowstride::detail {

void contract_broken(const char* condition, const char* file, int line) noexcept {
  std::fprintf(stderr, "lowstride: internal error: %s does not hold (%s:%d)\n", condition, file,
               line);
  std::abort();
}

}  // namespace lowstride::detail
