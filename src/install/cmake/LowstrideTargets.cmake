# What every target of ours is built with, as an interface target: no flags are global.
add_library(lowstride_flags INTERFACE)
target_include_directories(lowstride_flags INTERFACE "${CMAKE_SOURCE_DIR}")
target_compile_options(lowstride_flags INTERFACE
  -Wall -Wextra -Wpedantic -Wconversion -Wshadow
  $<$<BOOL:${LOWSTRIDE_WARNINGS_AS_ERRORS}>:-Werror>
  # g++ 12 warns about its own std::string (its bug 105651).
  $<$<CXX_COMPILER_ID:GNU>:-Wno-restrict>
  # The same sums on every processor: no contraction into fused multiply-add.
  -ffp-contract=off)
if(LOWSTRIDE_SANITIZE)
  # Where code is watched, g++ loses track of what an empty optional holds and warns (its manual says so of -fsanitize).
  target_compile_options(lowstride_flags INTERFACE -fsanitize=${LOWSTRIDE_SANITIZE} -fno-omit-frame-pointer
    $<$<CXX_COMPILER_ID:GNU>:-Wno-maybe-uninitialized>)
  target_link_options(lowstride_flags INTERFACE -fsanitize=${LOWSTRIDE_SANITIZE})
  if(LOWSTRIDE_SANITIZE MATCHES "thread")
    # The queue of the sound engine has fences, which the thread sanitizer does not know; it says itself what they order.
    target_compile_options(lowstride_flags INTERFACE $<$<CXX_COMPILER_ID:GNU>:-Wno-tsan>)
  endif()
  if(LOWSTRIDE_SANITIZE MATCHES "address")
    # Every program, those that are started with an empty environment too, carries the list of other people's leaks.
    add_library(lowstride_known_leaks OBJECT "${CMAKE_SOURCE_DIR}/src/base/known_leaks.cpp")
    target_link_libraries(lowstride_known_leaks PRIVATE lowstride_flags)
    link_libraries(lowstride_known_leaks)
  endif()
endif()

# One executable of GoogleTest cases for a room.
#   lowstride_add_tests(NAME SOURCES a_test.cpp … LIBRARIES lowstride_dsp …)
function(lowstride_add_tests name)
  cmake_parse_arguments(PARSE_ARGV 1 arg "" "" "SOURCES;LIBRARIES;DEPENDS")
  add_executable(${name} ${arg_SOURCES} "${CMAKE_SOURCE_DIR}/tests/main.cpp")
  target_link_libraries(${name} PRIVATE lowstride_flags ${arg_LIBRARIES} GTest::gmock fftw::float_threads fftw::float)
  if(arg_DEPENDS)
    add_dependencies(${name} ${arg_DEPENDS})
  endif()
  gtest_discover_tests(${name} DISCOVERY_TIMEOUT 60 PROPERTIES TIMEOUT 300)
endfunction()
