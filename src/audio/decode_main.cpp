// lowstride-decode FILE [FROM]: decodes the sound track of FILE by FFmpeg's libraries and writes it
// to the standard output as decoder_protocol.hpp says. Nobody will hear what lies before sample
// FROM: what can be left out of it without changing the rest is. A program of its own, so that what
// a broken or hostile file does to a decoder ends here; whoever starts it limits its memory and
// time.

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <memory>
#include <new>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/channel_layout.h>
#include <libavutil/dict.h>
#include <libavutil/log.h>
#include <libswresample/swresample.h>
}

#include "src/audio/decoder_protocol.hpp"

namespace lowstride::audio {
namespace {

using protocol::Failure;
using protocol::Kind;

/// Containers and codecs of sound that players have. What is not listed is not even probed: each
/// further one is more code that reads untrusted bytes.
constexpr const char* known_formats =
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,asf,aac,mp3,wav,w64,aiff,caf,avi,flv,ogg,flac,mpegts,"
    "mpeg,amr,amrnb,amrwb,ac3,eac3,ape,wv,tta,au";
constexpr const char* known_codecs =
    "aac,aac_latm,alac,mp3float,mp3,mp2float,mp2,mp1float,mp1,opus,libopus,vorbis,flac,wmav1,wmav2,"
    "wmapro,wmalossless,wmavoice,ac3,eac3,ape,wavpack,tta,amrnb,amrwb,libopencore_amrnb,"
    "libopencore_amrwb,pcm_s8,pcm_u8,pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be,"
    "pcm_f32le,pcm_f32be,pcm_f64le,pcm_f64be,pcm_alaw,pcm_mulaw,adpcm_ms,adpcm_ima_wav,"
    "adpcm_ima_qt,pcm_dvd,pcm_bluray,speex,libspeex";

struct InputCloser {
  void operator()(AVFormatContext* context) const { avformat_close_input(&context); }
};
struct CodecCloser {
  void operator()(AVCodecContext* context) const { avcodec_free_context(&context); }
};
struct FrameCloser {
  void operator()(AVFrame* frame) const { av_frame_free(&frame); }
};
struct PacketCloser {
  void operator()(AVPacket* packet) const { av_packet_free(&packet); }
};
struct ResamplerCloser {
  void operator()(SwrContext* context) const { swr_free(&context); }
};

/// Leaves the program when nobody reads any more: there is nothing left to do then.
void put(const void* data, std::size_t size) {
  const char* bytes = static_cast<const char*>(data);
  while (size > 0) {
    const ssize_t written = ::write(STDOUT_FILENO, bytes, size);
    if (written > 0) {
      bytes += written;
      size -= static_cast<std::size_t>(written);
    } else if (errno != EINTR) {
      ::_exit(3);
    }
  }
}

void put_message(Kind kind, const void* data, std::size_t size) {
  const protocol::Message message{static_cast<std::uint32_t>(kind),
                                  static_cast<std::uint32_t>(size)};
  put(&message, sizeof message);
  put(data, size);
}

void put_text(Kind kind, std::string_view text) {
  text = text.substr(0, protocol::largest_text_bytes);
  if (!text.empty()) put_message(kind, text.data(), text.size());
}

int fail_with(Failure reason) {
  put_message(Kind::failure, &reason, sizeof reason);
  return 0;
}

/// Turns decoded frames into interleaved floats of one rate and channel count, and sends them.
class Sender {
 public:
  Sender(int sample_rate_hz, int channel_count, std::int64_t skip_samples)
      : rate_hz_(sample_rate_hz), channel_count_(channel_count), to_skip_(skip_samples) {
    av_channel_layout_default(&layout_, channel_count);
  }
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;
  ~Sender() { av_channel_layout_uninit(&layout_); }

  bool send(const AVFrame& frame) {
    if (!prepare(frame)) return false;
    const int room = swr_get_out_samples(resampler_.get(), frame.nb_samples);
    if (room < 0) return false;
    buffer_.resize(static_cast<std::size_t>(room) * static_cast<std::size_t>(channel_count_));
    auto* out = reinterpret_cast<std::uint8_t*>(buffer_.data());
    const int count =
        swr_convert(resampler_.get(), &out, room,
                    const_cast<const std::uint8_t**>(frame.extended_data), frame.nb_samples);
    if (count < 0) return false;
    send_buffer(count);
    return true;
  }

  void send_silence(std::int64_t sample_count) {
    while (sample_count > 0) {
      const std::int64_t count = std::min<std::int64_t>(sample_count, 4096);
      buffer_.assign(static_cast<std::size_t>(count * channel_count_), 0.0F);
      send_buffer(count);
      sample_count -= count;
    }
  }

  /// Counts samples that are not made.
  void skip(std::int64_t sample_count) {
    made_ += sample_count;
    put_message(Kind::skipped, &sample_count, sizeof sample_count);
  }

  /// Nothing is sent beyond this many samples.
  void set_limit(std::int64_t sample_count) { limit_ = sample_count; }
  /// Samples made so far, with those held back.
  [[nodiscard]] std::int64_t made_count() const { return made_; }

 private:
  /// A stream may change its format on the way (an AAC stream that turns out to be HE-AAC).
  bool prepare(const AVFrame& frame) {
    if (resampler_ && frame.format == format_ && frame.sample_rate == source_rate_hz_ &&
        frame.ch_layout.nb_channels == source_channel_count_) {
      return true;
    }
    if (frame.sample_rate <= 0 || frame.ch_layout.nb_channels <= 0) return false;
    AVChannelLayout source{};
    // Same count: channels are passed on as they are, whatever their places are called.
    const bool is_same_count = frame.ch_layout.nb_channels == channel_count_;
    const int status = is_same_count ? av_channel_layout_copy(&source, &layout_)
                                     : av_channel_layout_copy(&source, &frame.ch_layout);
    if (status < 0) return false;
    if (source.order == AV_CHANNEL_ORDER_UNSPEC) {
      av_channel_layout_default(&source, frame.ch_layout.nb_channels);
    }
    SwrContext* context = nullptr;
    swr_alloc_set_opts2(&context, &layout_, AV_SAMPLE_FMT_FLT, rate_hz_, &source,
                        static_cast<AVSampleFormat>(frame.format), frame.sample_rate, 0, nullptr);
    av_channel_layout_uninit(&source);
    resampler_.reset(context);
    if (context == nullptr || swr_init(context) < 0) {
      resampler_.reset();
      return false;
    }
    format_ = frame.format;
    source_rate_hz_ = frame.sample_rate;
    source_channel_count_ = frame.ch_layout.nb_channels;
    return true;
  }

  void send_buffer(std::int64_t count) {
    const std::int64_t skipped = std::min(count, to_skip_);
    to_skip_ -= skipped;
    count = std::min(count - skipped, limit_ - made_);
    if (count <= 0) return;
    const float* values = buffer_.data() + skipped * channel_count_;
    made_ += count;
    const std::int64_t block = protocol::largest_block_bytes / sizeof(float) / channel_count_;
    while (count > 0) {
      const std::int64_t now = std::min(count, block);
      const auto value_count = static_cast<std::size_t>(now * channel_count_);
      put_message(Kind::samples, values, value_count * sizeof(float));
      values += value_count;
      count -= now;
    }
  }

  int rate_hz_;
  int channel_count_;
  std::int64_t to_skip_;
  std::int64_t limit_ = INT64_MAX;
  std::int64_t made_ = 0;
  AVChannelLayout layout_{};
  std::unique_ptr<SwrContext, ResamplerCloser> resampler_;
  int format_ = -1;
  int source_rate_hz_ = 0;
  int source_channel_count_ = 0;
  std::vector<float> buffer_;
};

std::string tag(const AVFormatContext& input, const AVStream& stream, const char* name) {
  const AVDictionaryEntry* entry = av_dict_get(input.metadata, name, nullptr, 0);
  if (entry == nullptr) entry = av_dict_get(stream.metadata, name, nullptr, 0);
  return entry != nullptr ? entry->value : "";
}

std::string format_text(const AVFormatContext& input, const AVCodecContext& codec) {
  std::string container = input.iformat->long_name != nullptr ? input.iformat->long_name : "";
  const std::string name = input.iformat->name;
  if (name.find("mp4") != std::string::npos) container = "MP4";
  if (name.find("webm") != std::string::npos) container = "WebM";
  const char* short_name = avcodec_get_name(codec.codec_id);
  std::string text = short_name;
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return container.empty() ? text : text + " in " + container;
}

/// Samples that the container promises, in the rate of the decoder; -1 where it gives only a guess.
std::int64_t promised_samples(const AVFormatContext& input, const AVStream& stream, int rate_hz) {
  const std::string name = input.iformat->name;
  const bool is_exact = name.find("mp4") != std::string::npos || name == "mp3" || name == "wav" ||
                        name == "flac" || name == "matroska,webm" || name == "aiff" ||
                        name == "caf" || name == "w64";
  if (!is_exact) return -1;
  if (name == "mp3" && input.duration_estimation_method == AVFMT_DURATION_FROM_BITRATE) return -1;
  if (stream.duration > 0) {
    return av_rescale_q(stream.duration, stream.time_base, AVRational{1, rate_hz});
  }
  if (input.duration > 0) return av_rescale_q(input.duration, AV_TIME_BASE_Q, {1, rate_hz});
  return -1;
}

/// Reads packets, decodes them and hands the frames to a Sender; made when the first frame tells
/// rate and channels (an HE-AAC header does not).
class Decoding {
 public:
  Decoding(AVFormatContext& input, int stream_index, AVCodecContext& codec,
           std::int64_t from_sample)
      : input_(input),
        stream_(*input.streams[stream_index]),
        codec_(codec),
        from_sample_(from_sample) {}

  int run() {
    const std::unique_ptr<AVPacket, PacketCloser> packet(av_packet_alloc());
    const std::unique_ptr<AVFrame, FrameCloser> frame(av_frame_alloc());
    if (!packet || !frame) return fail_with(Failure::out_of_memory);
    int status = 0;
    while ((status = av_read_frame(&input_, packet.get())) >= 0) {
      if (packet->stream_index == stream_.index && !pass_over(*packet)) {
        decode(packet.get(), *frame);
      }
      av_packet_unref(packet.get());
    }
    if (status != AVERROR_EOF) end_.is_cut_off = 1;
    decode(nullptr, *frame);
    if (!sender_) return fail_with(Failure::undecodable);
    put_message(Kind::end, &end_, sizeof end_);
    return 0;
  }

 private:
  /// Layer III alone: each packet has a known length, and what it takes from earlier ones is
  /// bounded, 511 bytes of their data and the overlap of two of them (ISO/IEC 11172-3, 2.4.3.4).
  /// Other codecs carry a state on, such as the generator of AAC's noise.
  bool pass_over(const AVPacket& packet) {
    constexpr std::int64_t lead_packets = 100;  // hold 511 bytes at the lowest rate, 8 kbit/s
    if (codec_.codec_id != AV_CODEC_ID_MP3 || !sender_ || lost_samples_ > 0) return false;
    const std::int64_t length =
        av_rescale_q(packet.duration, stream_.time_base, AVRational{1, codec_.sample_rate});
    const bool is_whole = length == 1152 || length == 576;
    if (is_whole && sender_->made_count() + (1 + lead_packets) * length <= from_sample_) {
      sender_->skip(length);
      is_passing_ = true;
      return true;
    }
    if (std::exchange(is_passing_, false)) {
      avcodec_flush_buffers(&codec_);
      damage_counts_from_ = sender_->made_count() + lead_packets / 2 * length;
    }
    return false;
  }

  void decode(const AVPacket* packet, AVFrame& frame) {
    int status = avcodec_send_packet(&codec_, packet);
    if (status == AVERROR(ENOMEM)) ::_exit(4);
    if (status < 0 && status != AVERROR_EOF && packet != nullptr) lose(*packet);
    while ((status = avcodec_receive_frame(&codec_, &frame)) >= 0) {
      deliver(frame);
      av_frame_unref(&frame);
    }
    if (status != AVERROR(EAGAIN) && status != AVERROR_EOF && packet != nullptr) lose(*packet);
  }

  void deliver(const AVFrame& frame) {
    if (!sender_) start(frame);
    // Silence keeps what follows a loss in its place.
    if (lost_samples_ > 0) sender_->send_silence(std::exchange(lost_samples_, 0));
    if (!sender_->send(frame)) ++end_.damaged_packet_count;
  }

  void lose(const AVPacket& packet) {
    if (!sender_ || sender_->made_count() >= damage_counts_from_) ++end_.damaged_packet_count;
    const std::int64_t rate_hz = codec_.sample_rate > 0 ? codec_.sample_rate : 0;
    if (sender_ && packet.duration > 0 && rate_hz > 0) {
      const std::int64_t lost = av_rescale_q(packet.duration, stream_.time_base,
                                             AVRational{1, static_cast<int>(rate_hz)});
      lost_samples_ += std::clamp<std::int64_t>(lost, 0, rate_hz);
    }
  }

  void start(const AVFrame& frame) {
    protocol::Header header;
    header.sample_rate_hz = static_cast<std::uint32_t>(frame.sample_rate);
    header.channel_count = static_cast<std::uint32_t>(frame.ch_layout.nb_channels);
    header.promised_sample_count = promised_samples(input_, stream_, frame.sample_rate);
    // An ADTS stream has no place to say how late its encoder is; every AAC decoder's overlap makes
    // the first frame (1024 samples, 2048 with spectral band replication) come out before the
    // sound.
    const bool is_adts = std::strcmp(input_.iformat->name, "aac") == 0;
    sender_ = std::make_unique<Sender>(frame.sample_rate, frame.ch_layout.nb_channels,
                                       is_adts ? frame.nb_samples : 0);
    // The last AAC frame of an MP4 file is padded; its edit list says where the sound ends.
    if (std::strstr(input_.iformat->name, "mp4") != nullptr && header.promised_sample_count > 0) {
      sender_->set_limit(header.promised_sample_count);
    }
    put_message(Kind::header, &header, sizeof header);
    put_text(Kind::title, tag(input_, stream_, "title"));
    put_text(Kind::artist, tag(input_, stream_, "artist"));
    put_text(Kind::format, format_text(input_, codec_));
  }

  AVFormatContext& input_;
  AVStream& stream_;
  AVCodecContext& codec_;
  std::unique_ptr<Sender> sender_;
  std::int64_t from_sample_;
  bool is_passing_ = false;
  std::int64_t damage_counts_from_ = 0;  // after packets were passed over
  std::int64_t lost_samples_ = 0;
  protocol::End end_;
};

/// Whether a file that cannot be opened begins like one that could: a phone's recording whose end,
/// with the index of everything, is missing.
bool begins_well(const char* path) {
  std::array<char, 12> head{};
  std::ifstream file(path, std::ios::binary);
  if (!file.read(head.data(), head.size())) return false;
  const std::string_view bytes(head.data(), head.size());
  const std::string_view atom = bytes.substr(4, 4);
  return atom == "ftyp" || atom == "moov" || atom == "mdat" || atom == "wide" ||
         bytes.starts_with("\x1A\x45\xDF\xA3") || bytes.starts_with("\x30\x26\xB2\x75");
}

int decode_file(const char* path, std::int64_t from_sample) {
  put(protocol::magic.data(), protocol::magic.size());
  av_log_set_level(AV_LOG_QUIET);
  AVDictionary* options = nullptr;
  av_dict_set(&options, "format_whitelist", known_formats, 0);
  av_dict_set(&options, "codec_whitelist", known_codecs, 0);
  av_dict_set(&options, "protocol_whitelist", "file", 0);
  av_dict_set(&options, "max_streams", "64", 0);
  AVFormatContext* raw = nullptr;
  const std::string url = std::string("file:") + path;
  const int opened = avformat_open_input(&raw, url.c_str(), nullptr, &options);
  av_dict_free(&options);
  if (opened < 0) {
    return fail_with(begins_well(path) ? Failure::undecodable : Failure::not_audio);
  }
  const std::unique_ptr<AVFormatContext, InputCloser> input(raw);
  if (avformat_find_stream_info(input.get(), nullptr) < 0) return fail_with(Failure::not_audio);
  const int index = av_find_best_stream(input.get(), AVMEDIA_TYPE_AUDIO, -1, -1, nullptr, 0);
  if (index == AVERROR_DECODER_NOT_FOUND) return fail_with(Failure::no_codec);
  if (index < 0) return fail_with(Failure::no_sound);
  for (unsigned i = 0; i < input->nb_streams; ++i) {
    if (i != static_cast<unsigned>(index)) input->streams[i]->discard = AVDISCARD_ALL;
  }
  const AVCodecParameters& parameters = *input->streams[index]->codecpar;
  const AVCodec* const decoder = avcodec_find_decoder(parameters.codec_id);
  if (decoder == nullptr) return fail_with(Failure::no_codec);
  const std::unique_ptr<AVCodecContext, CodecCloser> codec(avcodec_alloc_context3(decoder));
  if (!codec) return fail_with(Failure::out_of_memory);
  codec->thread_count = 1;
  codec->pkt_timebase = input->streams[index]->time_base;
  AVDictionary* codec_options = nullptr;
  av_dict_set(&codec_options, "codec_whitelist", known_codecs, 0);
  const bool is_ready = avcodec_parameters_to_context(codec.get(), &parameters) >= 0 &&
                        avcodec_open2(codec.get(), decoder, &codec_options) >= 0;
  av_dict_free(&codec_options);
  if (!is_ready) return fail_with(Failure::no_codec);
  return Decoding(*input, index, *codec, from_sample).run();
}

}  // namespace
}  // namespace lowstride::audio

int main(int argc, char** argv) {
  if (argc != 2 && argc != 3) {
    constexpr std::string_view usage =
        "Usage: lowstride-decode FILE [FROM]\nPart of Lowstride; writes decoded sound for it.\n";
    return ::write(STDERR_FILENO, usage.data(), usage.size()) < 0 ? 3 : 2;
  }
  try {
    return lowstride::audio::decode_file(argv[1],
                                         argc == 3 ? std::strtoll(argv[2], nullptr, 10) : 0);
  } catch (const std::bad_alloc&) {
    return 4;
  }
}
