# Libraries from the distribution, each wrapped as a target of its own.
find_package(PkgConfig REQUIRED)
find_package(Threads REQUIRED)

pkg_check_modules(FFTW3F REQUIRED IMPORTED_TARGET fftw3f)
add_library(fftw::float ALIAS PkgConfig::FFTW3F)
# fftwf_make_planner_thread_safe() lives here; aubio and we plan from several threads.
find_library(FFTW3F_THREADS_LIBRARY fftw3f_threads REQUIRED)
add_library(fftw::float_threads UNKNOWN IMPORTED)
set_target_properties(fftw::float_threads PROPERTIES
  IMPORTED_LOCATION "${FFTW3F_THREADS_LIBRARY}"
  INTERFACE_LINK_LIBRARIES "PkgConfig::FFTW3F;Threads::Threads")

pkg_check_modules(AUBIO REQUIRED IMPORTED_TARGET aubio)
pkg_check_modules(SNDFILE REQUIRED IMPORTED_TARGET sndfile)
pkg_check_modules(SOXR REQUIRED IMPORTED_TARGET soxr)
# Sound output.
pkg_check_modules(SDL2 REQUIRED IMPORTED_TARGET sdl2)
find_path(READERWRITERQUEUE_INCLUDE_DIR readerwriterqueue/readerwriterqueue.h REQUIRED)
# SHA-256 of recordings.
pkg_check_modules(NETTLE REQUIRED IMPORTED_TARGET nettle)
# Drill history, and the climbing that fits its memory model.
pkg_check_modules(SQLITE3 REQUIRED IMPORTED_TARGET sqlite3)
pkg_check_modules(NLOPT REQUIRED IMPORTED_TARGET nlopt)
pkg_check_modules(LIBAV REQUIRED IMPORTED_TARGET libavformat libavcodec libswresample libavutil)
# Printed pages.
pkg_check_modules(PANGOCAIRO REQUIRED IMPORTED_TARGET pangocairo cairo-pdf cairo-svg cairo-png)
find_package(nlohmann_json 3.11 REQUIRED)
find_package(fmt 9 REQUIRED)
find_package(pugixml 1.13 REQUIRED)
find_package(CLI11 2.1 REQUIRED)
find_path(TL_EXPECTED_INCLUDE_DIR tl/expected.hpp REQUIRED)

if(LOWSTRIDE_BUILD_TESTS)
  find_package(GTest 1.12 REQUIRED)
  include(GoogleTest)
endif()
