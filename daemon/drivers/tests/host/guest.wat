;; The guest of the tests: what stands in <these> is put in by guest.rs.
;;
;; 1024 the result of a call on the furnace: 1032 fault code, text, bytes; or temperature there, 1040 its value, 1048 its
;;      quality; 1104 heat-on there and its value; 1107 door-open there and its value; 1116 points and their count
;; 2048 what an exchange came to: 2052 reply and its bytes, or fault code, text, bytes
;; 3000 the request; 3100 its one rule
;; 4096 the static lists; 65536 the heap
(module
  (import "hearthward:equipment/line@<at>" "exchange"
    (func $exchange (param i32 i32 i32 i32 i32 i32 i32)))
  (import "hearthward:equipment/log@<at>" "write" (func $log (param i32 i32 i32)))
  (import "hearthward:equipment/shop-clock@<at>" "now-ms" (func $now (result i64)))
  (memory (export "memory") 2)
  (global $heap (mut i32) (i32.const 65536))
  (func (export "cabi_realloc") (param i32 i32 i32 i32) (result i32)
    (global.set $heap (i32.and (i32.add (global.get $heap) (i32.const 7)) (i32.const -8)))
    (global.get $heap)
    (global.set $heap (i32.add (global.get $heap) (local.get 3))))
  <data>
  <extra>
  (func $heat_on (param $is i32)
    (i32.store8 (i32.const 1104) (i32.const 1))
    (i32.store8 (i32.const 1105) (local.get $is)))
  (func $temperature (param $is f64) (f64.store (i32.const 1040) (local.get $is)))
  (func $fail (param $code i32) (param $text i32) (param $bytes i32)
    (i32.store8 (i32.const 1024) (i32.const 1))
    (i32.store (i32.const 1032) (local.get $code))
    (i32.store (i32.const 1036) (local.get $text))
    (i32.store (i32.const 1040) (local.get $bytes)))
  (func $ask (param $word i32) (param $unit i32) (param $expected i32) (param $within i32)
    (i32.store8 (i32.const 3000) (local.get $word))
    (i32.store8 (i32.const 3001) (local.get $unit))
    (i32.store (i32.const 3100) (i32.const 0))
    (i32.store8 (i32.const 3104) (i32.const 0xFF))
    (i32.store8 (i32.const 3105) (local.get $word))
    (i32.store8 (i32.const 3108) (i32.const 0))
    (i32.store (i32.const 3112) (local.get $expected))
    (call $exchange (i32.const 0) (i32.const 3000) (i32.const 2) (i32.const 3100) (i32.const 1) (local.get $within)
      (i32.const 2048))
    (if (i32.load8_u (i32.const 2048))
      (then (call $fail (i32.load (i32.const 2052)) (i32.load (i32.const 2056))
        (i32.load (i32.const 2060))))
      (else (if (i32.eq (local.get $word) (i32.const 0x52)) (then
        (call $temperature (f64.convert_i32_u (i32.load8_u (i32.add (i32.load (i32.const 2052)) (i32.const 1)))))
        (i32.store8 (i32.const 1108) (i32.load8_u (i32.add (i32.load (i32.const 2052)) (i32.const 2)))))))))
  (func $fresh
    (global.set $heap (i32.const 65536))
    (i32.store8 (i32.const 1024) (i32.const 0))
    (i32.store8 (i32.const 1032) (i32.const 1))
    (f64.store (i32.const 1040) (f64.const 25))
    (i32.store8 (i32.const 1048) (i32.const 0))
    (i32.store8 (i32.const 1104) (i32.const 1))
    (i32.store8 (i32.const 1105) (i32.const 0))
    (i32.store8 (i32.const 1107) (i32.const 1))
    (i32.store8 (i32.const 1108) (i32.const 0))
    (i32.store (i32.const 1116) (i32.const 0))
    (i32.store (i32.const 1120) (i32.const 0)))
  (func (export "hearthward:equipment/driver@<at>#describe") (result i32) <check> (i32.const 4096))
  (func (export "hearthward:equipment/driver@<at>#check") (param i32 i32 i32 i32) (result i32) (i32.const <listed>))
  (func (export "hearthward:equipment/driver@<at>#open") (param i32 i32 i32 i32) (result i32) <open> (i32.const <listed>))
  (func (export "hearthward:equipment/driver@<at>#close"))
  (func (export "hearthward:equipment/furnace@<at>#read") (param $unit i32) (result i32)
    (call $fresh) <read> (i32.const 1024))
  (func (export "hearthward:equipment/furnace@<at>#heat") (param $unit i32) (param i32 i64) (result i32)
    (call $fresh) <heat> (i32.const 1024))
  (func (export "hearthward:equipment/furnace@<at>#cut") (param $unit i32) (result i32)
    (call $fresh) <cut> (i32.const 1024))
  <start>)
