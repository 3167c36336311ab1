#include "tests/stretch/allocation_trap.hpp"

#include <cstdlib>
#include <new>

namespace {

thread_local std::size_t taken = 0;

}  // namespace

namespace lowstride::test {

AllocationTrap::AllocationTrap() noexcept : start_(taken) {}
std::size_t AllocationTrap::count() const noexcept { return taken - start_; }

}  // namespace lowstride::test

// Sanitizers bring a malloc of their own; under them only operator new is counted.
#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
extern "C" {
void* __libc_malloc(std::size_t size);  // NOLINT(bugprone-reserved-identifier)
void* malloc(
    std::size_t size) noexcept {  // NOLINT(readability-inconsistent-declaration-parameter-name)
  ++taken;
  return __libc_malloc(size);
}
}
#endif

void* operator new(std::size_t size) {
  ++taken;
  if (void* const memory = std::malloc(size == 0 ? 1 : size); memory != nullptr) return memory;
  throw std::bad_alloc();
}
// Whoever asks for scratch memory without exceptions (std::stable_sort does) must get it from the
// same place as it is given back to.
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++taken;
  return std::malloc(size == 0 ? 1 : size);
}
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, const std::nothrow_t&) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
