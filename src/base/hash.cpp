#include "base/hash.hpp"

#include <array>
#include <fstream>
#include <memory>
#include <vector>

#include <fmt/format.h>
#include <openssl/evp.h>

namespace backeddy {

namespace {

class Sha256 {
  public:
    Sha256() : context_(EVP_MD_CTX_new(), EVP_MD_CTX_free) {
        if (!context_ || EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) != 1) {
            throw std::bad_alloc(); // SHA-256 is part of every build of the library: only memory can lack
        }
    }
    void add(const void* bytes, std::size_t count) { EVP_DigestUpdate(context_.get(), bytes, count); }
    std::string hex() {
        std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
        unsigned int size = 0;
        EVP_DigestFinal_ex(context_.get(), digest.data(), &size);
        std::string out;
        for (unsigned int i = 0; i < size; ++i) {
            out += fmt::format("{:02x}", digest[i]);
        }
        return out;
    }

  private:
    std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
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
