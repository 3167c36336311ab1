#include "src/cli/version.hpp"

#include <fmt/format.h>

#include "build_facts.hpp"

namespace lowstride::cli {

std::string_view version_number() noexcept { return build_facts::version; }

std::string_view release_date() noexcept { return build_facts::released; }

std::string version_text() {
  return fmt::format("lowstride {}\ncommit     {}\ncompiler   {}\nlibraries  {}",
                     build_facts::version, build_facts::commit, build_facts::compiler,
                     build_facts::libraries);
}

}  // namespace lowstride::cli
