#include "tests/fuzz/payload.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct stream streams[] = {
		{ .name = "bare", .sensor = "a", .humidity = "air rh", .temperature = "air t" },
		{ .name = "tag",
			.sensor = "b",
			.humidity = "air,place=a\\ b rh",
			.battery = "cell,place=a\\ b v\\=1",
			.humidity_unit = STREAM_FRACTION },
	};
	payload_check(streams, 2, FORMAT_LINE, bytes, n);
	return 0;
}
