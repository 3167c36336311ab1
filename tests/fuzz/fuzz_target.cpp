// The entry points that libFuzzer calls (LLVM, "libFuzzer – a library for coverage-guided fuzz
// testing"): lowstride_fuzz --reader=NAME [libFuzzer's options] [CORPUS…]
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string_view>

#include "tests/fuzz/readers.hpp"

namespace {

const lowstride::fuzz::Reader* chosen = nullptr;

void say_child_deaths() {
  if (const long count = lowstride::fuzz::child_death_count(); count > 0) {
    std::fprintf(stderr, "child deaths: %ld\n", count);
  }
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int* argc, char*** argv) {
  constexpr std::string_view option = "--reader=";
  for (int i = 1; i < *argc; ++i) {
    const std::string_view word = (*argv)[i];
    if (!word.starts_with(option)) continue;
    for (const auto& reader : lowstride::fuzz::readers()) {
      if (reader.name == word.substr(option.size())) chosen = &reader;
    }
  }
  if (chosen == nullptr) {
    std::fputs("--reader=NAME is missing; the names are:", stderr);
    for (const auto& reader : lowstride::fuzz::readers()) {
      std::fprintf(stderr, " %.*s", static_cast<int>(reader.name.size()), reader.name.data());
    }
    std::fputs("\n", stderr);
    std::exit(2);
  }
  std::atexit(say_child_deaths);
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  chosen->read({reinterpret_cast<const char*>(bytes), count});
  return 0;
}
