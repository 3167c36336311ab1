#pragma once

#include <cstddef>

namespace lowstride::test {

/// Counts what this thread takes from the heap (malloc and operator new) while it lives.
class AllocationTrap {
 public:
  AllocationTrap() noexcept;
  [[nodiscard]] std::size_t count() const noexcept;

 private:
  std::size_t start_;
};

}  // namespace lowstride::test
