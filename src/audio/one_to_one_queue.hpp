#pragma once

// The one-to-one queue of the audio thread, with what ThreadSanitizer has to be told about it:
// GCC's does not know of fences, by which the queue orders what it hands over. The macros are the
// queue's own, which it defines for Clang alone.
#if defined(__SANITIZE_THREAD__) && !defined(__clang__)
#include <sanitizer/tsan_interface.h>
namespace lowstride::audio {
inline int queue_fences = 0;  // its address stands for all of them
}
#define AE_TSAN_ANNOTATE_RELEASE() __tsan_release(&::lowstride::audio::queue_fences)
#define AE_TSAN_ANNOTATE_ACQUIRE() __tsan_acquire(&::lowstride::audio::queue_fences)
#endif

#include <readerwriterqueue/readerwriterqueue.h>
