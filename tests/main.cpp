#include <fftw3.h>
#include <gmock/gmock.h>

int main(int argc, char** argv) {
  // aubio guards FFTW's planner with a lock that our own plans do not take.
  fftwf_make_planner_thread_safe();
  testing::InitGoogleMock(&argc, argv);
  return RUN_ALL_TESTS();
}
