#include "tests/fuzz/payload.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct stream streams[] = {
		{ .name = "flat",
			.sensor = "a",
			.humidity = "/h",
			.temperature = "/t",
			.time = "/time" },
		{ .name = "deep",
			.sensor = "b",
			.humidity = "/a/0/rh",
			.battery = "/a~1b/~0",
			.humidity_unit = STREAM_FRACTION },
		{ .name = "list",
			.sensor = "c",
			.humidity = "/1",
			.temperature = "/2",
			.battery = "/3",
			.temperature_unit = STREAM_FAHRENHEIT },
	};
	payload_check(streams, 3, FORMAT_JSON, bytes, n);
	return 0;
}
