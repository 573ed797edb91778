// SPDX-License-Identifier: GPL-2.0
// What a panel hangs on, without the panel: /dev/spidev0.0, which keeps what is written to it, the backlight
// /sys/class/backlight/bench, 0 to 255, lit when it appears, and a PWM chip of two channels that takes what it is given.
//
// debugfs bench/transfers holds one record a transfer: its time in ns (u64), its length (u32), the level of GPIO
// `dc` meanwhile (u32), all little-endian, then its bytes. Writing to bench/forget empties it. While bench/broken
// is 1 each transfer ends with EIO.
#include <linux/backlight.h>
#include <linux/debugfs.h>
#include <linux/gpio/consumer.h>
#include <linux/gpio.h>
#include <linux/ktime.h>
#include <linux/module.h>
#include <linux/platform_device.h>
#include <linux/pwm.h>
#include <linux/spi/spi.h>
#include <linux/version.h>
#include <linux/vmalloc.h>

#define ROOM (16 << 20)

struct header {
	__le64 at_ns;
	__le32 length;
	__le32 data;
} __packed;

static int dc = -1;
module_param(dc, int, 0444);
MODULE_PARM_DESC(dc, "number of the GPIO that tells commands from data");

static struct debugfs_blob_wrapper kept;
static u32 broken;
static struct dentry *folder;
static struct platform_device *bench;
static struct spi_controller *bus;
static struct backlight_device *light;
static struct pwm_chip *chip;

static int transfer(struct spi_controller *of, struct spi_device *to, struct spi_transfer *what)
{
	struct gpio_desc *line = gpio_is_valid(dc) ? gpio_to_desc(dc) : NULL;
	struct header header = {
		.at_ns = cpu_to_le64(ktime_get_ns()),
		.length = cpu_to_le32(what->len),
		.data = cpu_to_le32(line ? gpiod_get_raw_value_cansleep(line) : 0),
	};

	if (broken)
		return -EIO;
	if (!what->tx_buf || kept.size + sizeof(header) + what->len > ROOM)
		return -ENOSPC;
	memcpy(kept.data + kept.size, &header, sizeof(header));
	memcpy(kept.data + kept.size + sizeof(header), what->tx_buf, what->len);
	kept.size += sizeof(header) + what->len;
	return 0;
}

static int forget(void *data, u64 value)
{
	kept.size = 0;
	return 0;
}
DEFINE_DEBUGFS_ATTRIBUTE(forget_operations, NULL, forget, "%llu\n");

static int light_changed(struct backlight_device *device)
{
	return 0;
}

static const struct backlight_ops light_operations = { .update_status = light_changed };

static int pwm_applied(struct pwm_chip *of, struct pwm_device *channel, const struct pwm_state *state)
{
	return 0;
}

static const struct pwm_ops pwm_operations = { .apply = pwm_applied };

static int add_pwm(struct device *parent)
{
#if LINUX_VERSION_CODE < KERNEL_VERSION(6, 9, 0)
	static struct pwm_chip only;

	chip = &only;
	chip->dev = parent;
	chip->npwm = 2;
#else
	chip = devm_pwmchip_alloc(parent, 2, 0);
	if (IS_ERR(chip))
		return PTR_ERR(chip);
#endif
	chip->ops = &pwm_operations;
	return pwmchip_add(chip);
}

static int __init begin(void)
{
	struct backlight_properties lit = { .type = BACKLIGHT_RAW, .max_brightness = 255, .brightness = 255 };
	// spidev binds to names it knows only; this is one of them
	struct spi_board_info board = { .modalias = "dh2228fv", .max_speed_hz = 62500000, .mode = SPI_MODE_0 };
	int failed = -ENOMEM;

	kept.data = vzalloc(ROOM);
	if (!kept.data)
		return -ENOMEM;
	bench = platform_device_register_simple("bench", -1, NULL, 0);
	if (IS_ERR(bench)) {
		failed = PTR_ERR(bench);
		goto no_bench;
	}
	bus = spi_alloc_master(&bench->dev, 0);
	if (!bus)
		goto no_bus;
	bus->bus_num = 0;
	bus->num_chipselect = 1;
	bus->transfer_one = transfer;
	failed = spi_register_controller(bus);
	if (failed) {
		spi_controller_put(bus);
		goto no_bus;
	}
	light = backlight_device_register("bench", &bench->dev, NULL, &light_operations, &lit);
	if (!spi_new_device(bus, &board) || IS_ERR(light)) {
		failed = -ENODEV;
		goto no_device;
	}
	failed = add_pwm(&bench->dev);
	if (failed)
		goto no_device;
	folder = debugfs_create_dir("bench", NULL);
	debugfs_create_blob("transfers", 0400, folder, &kept);
	debugfs_create_file_unsafe("forget", 0200, folder, NULL, &forget_operations);
	debugfs_create_u32("broken", 0600, folder, &broken);
	return 0;

no_device:
	if (!IS_ERR(light))
		backlight_device_unregister(light);
	spi_unregister_controller(bus);
no_bus:
	platform_device_unregister(bench);
no_bench:
	vfree(kept.data);
	return failed;
}

static void __exit end(void)
{
	debugfs_remove_recursive(folder);
	pwmchip_remove(chip);
	backlight_device_unregister(light);
	spi_unregister_controller(bus);
	platform_device_unregister(bench);
	vfree(kept.data);
}

module_init(begin);
module_exit(end);
MODULE_DESCRIPTION("an SPI bus that keeps what is sent, a backlight and a PWM chip");
MODULE_LICENSE("GPL");
