#include "base/hash.hpp"

#include <array>
#include <fstream>
#include <vector>

#include <sodium.h>

namespace backeddy {

namespace {

class Sha256 {
  public:
    Sha256() { crypto_hash_sha256_init(&state_); }
    void add(const void* bytes, std::size_t count) {
        crypto_hash_sha256_update(&state_, static_cast<const unsigned char*>(bytes), count);
    }
    std::string hex() {
        std::array<unsigned char, crypto_hash_sha256_BYTES> digest{};
        crypto_hash_sha256_final(&state_, digest.data());
        std::array<char, (crypto_hash_sha256_BYTES * 2) + 1> text{};
        sodium_bin2hex(text.data(), text.size(), digest.data(), digest.size());
        return text.data();
    }

  private:
    crypto_hash_sha256_state state_{};
};

} // namespace

std::string sha256_hex(std::span<const std::byte> bytes) {
    Sha256 hash;
    hash.add(bytes.data(), bytes.size());
    return hash.hex();
}

std::string sha256_hex(std::string_view text) {
    return sha256_hex(std::as_bytes(std::span(text.data(), text.size())));
}

Expected<std::string> sha256_of_file(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) {
        return fail(
            {.code = std::filesystem::exists(path) ? ErrorCode::file_unreadable : ErrorCode::file_missing,
             .found = "cannot open the file",
             .expected = "a file that this user may read",
             .remedy = "check its name and its permissions",
             .place = {.file = path.string()}});
    }
    Sha256 hash;
    std::vector<char> block(1 << 20);
    while (file) {
        file.read(block.data(), static_cast<std::streamsize>(block.size()));
        hash.add(block.data(), static_cast<std::size_t>(file.gcount()));
    }
    if (file.bad()) {
        return fail({.code = ErrorCode::file_unreadable,
                     .found = "reading stopped before the end of the file",
                     .expected = "a readable disk",
                     .remedy = "copy the file from its source again",
                     .place = {.file = path.string()}});
    }
    return hash.hex();
}

} // namespace backeddy
