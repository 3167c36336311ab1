# What `lowstride --version` tells. The commit is looked up at each build and the header written only
# when something changed, so that nothing is compiled for nothing.
# As a script: cmake -D SOURCE=… -D OUTPUT=… -D VERSION=… -D RELEASED=… -D COMPILER=… -D LIBRARIES=… -P BuildFacts.cmake
if(CMAKE_SCRIPT_MODE_FILE)
  set(commit unknown)
  if(EXISTS "${SOURCE}/.git")
    execute_process(
      COMMAND git -C "${SOURCE}" describe --always --exclude=* --abbrev=12 --dirty=+
      OUTPUT_VARIABLE described OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET RESULT_VARIABLE failed)
    if(NOT failed)
      set(commit "${described}")
    endif()
  endif()
  set(text "#pragma once\n\nnamespace lowstride::build_facts {\n")
  foreach(name VERSION RELEASED COMPILER LIBRARIES)
    string(TOLOWER ${name} lower)
    string(APPEND text "inline constexpr const char* ${lower} = \"${${name}}\";\n")
  endforeach()
  string(APPEND text "inline constexpr const char* commit = \"${commit}\";\n}  // namespace lowstride::build_facts\n")
  file(CONFIGURE OUTPUT "${OUTPUT}" CONTENT "${text}" @ONLY)
  return()
endif()

set(compiler "${CMAKE_CXX_COMPILER_ID} ${CMAKE_CXX_COMPILER_VERSION}, C++${CMAKE_CXX_STANDARD}, ${CMAKE_BUILD_TYPE}")
if(LOWSTRIDE_SANITIZE)
  string(APPEND compiler ", ${LOWSTRIDE_SANITIZE} sanitizers")
endif()
string(JOIN ", " libraries
  "FFTW ${FFTW3F_VERSION}" "aubio ${AUBIO_VERSION}" "libsndfile ${SNDFILE_VERSION}" "soxr ${SOXR_VERSION}"
  "libavformat ${LIBAV_libavformat_VERSION}" "libavcodec ${LIBAV_libavcodec_VERSION}"
  "SDL ${SDL2_VERSION}" "SQLite ${SQLITE3_VERSION}" "NLopt ${NLOPT_VERSION}"
  "Nettle ${NETTLE_VERSION}" "Pango ${PANGOCAIRO_pangocairo_VERSION}" "cairo ${PANGOCAIRO_cairo-pdf_VERSION}"
  "pugixml ${pugixml_VERSION}" "nlohmann json ${nlohmann_json_VERSION}" "fmt ${fmt_VERSION}" "CLI11 ${CLI11_VERSION}")
set(LOWSTRIDE_FACTS_FOLDER "${CMAKE_BINARY_DIR}/build_facts")
add_custom_target(lowstride_build_facts
  COMMAND "${CMAKE_COMMAND}" -D "SOURCE=${CMAKE_SOURCE_DIR}" -D "OUTPUT=${LOWSTRIDE_FACTS_FOLDER}/build_facts.hpp"
    -D "VERSION=${PROJECT_VERSION}" -D "RELEASED=${LOWSTRIDE_RELEASE_DATE}"
    -D "COMPILER=${compiler}" -D "LIBRARIES=${libraries}"
    -P "${CMAKE_CURRENT_LIST_FILE}"
  BYPRODUCTS "${LOWSTRIDE_FACTS_FOLDER}/build_facts.hpp"
  COMMENT "Looking up the commit"
  VERBATIM)
